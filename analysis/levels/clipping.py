"""Clipped runs: consecutive frames of one channel at one and the same extreme value.

No standard defines clipping in a file. The rule here (house choice, after the counters of disc mastering): at least
`Limits.clipped_run_frames` equal samples at the channel's own highest or lowest value, wherever that lies, so that a
clipped file that was turned down is still found. Two things look alike and are not clipped:

* The rounded crest of a slow wave: a full-scale 20 Hz sine in 16 bits rests for 5 samples. Its neighbours lie within
  about two steps of the last bit, and it cannot be longer than the crest of the lowest tone: within one step of the
  top, A(2 pi f / fs)^2 d^2 / 2 <= 1 LSB on each side.
* A wave that has two values by nature (a pulse from a synthesiser): nearly all of its samples are extreme.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np

from analysis.core.blocks import Block
from analysis.core.reports import Clipped, ClippedEvent, ClippedRun
from analysis.core.samples import Floats, Indices, Samples, check_samples
from analysis.core.thresholds import Limits
from analysis.core.units import amplitude_from_db, dbfs_from_amplitude

# What a report keeps, and what is kept while measuring (house choices).
_FIRST_RUNS = 10
_MOST_EVENTS = 500
_EVENTS_IN_REPORT = 20
# Share of samples at the two extremes above which a wave has two values by nature (house choice). A sine clipped by
# 12 dB has 0.84 (arithmetic).
_TWO_VALUED_SHARE = 0.9
_RAIL = 1.0  # full scale


def find_clipped_runs(samples: Samples, sample_rate_hz: int, *, limits: Limits | None = None) -> tuple[ClippedRun, ...]:
    """Find stretches of consecutive frames at full scale or at the channel's own extreme.

    Parameters
    ----------
    samples : float array, shape (n_frames, n_channels)
        Full scale is 1.0. Not modified.
    sample_rate_hz : int
    limits : Limits, optional

    Returns
    -------
    tuple of ClippedRun
        By time, then channel. Empty when nothing clips. At most the first ten.

    Raises
    ------
    ValueError
        For samples that `check_samples` refuses.
    """
    check_samples(samples, sample_rate_hz)
    meter = ClippingMeter(sample_rate_hz, samples.shape[1], bit_depth=24, limits=limits or Limits())
    meter.add(Block(samples, 0))
    return meter.finish().first


@dataclass
class _Extreme:
    """Runs at the highest (`sign` 1) or lowest (-1) value that one channel has reached so far."""

    channel: int
    sign: int
    value: float = 0.0
    count: int = 0
    run_count: int = 0
    longest: int = 0
    clipped_frames: int = 0
    first: list[tuple[int, int]] = field(default_factory=list)
    events: list[list[int]] = field(default_factory=list)  # start, end, runs, longest
    held: Floats = field(default_factory=lambda: np.zeros(0, np.float32))

    def forget(self) -> None:
        self.count = self.run_count = self.longest = self.clipped_frames = 0
        self.first, self.events = [], []


class ClippingMeter:
    """Finds clipped runs in a stream of blocks; `bit_depth` is None for lossy files, which are taken as 24 bits."""

    def __init__(self, sample_rate_hz: int, channels: int, *, bit_depth: int | None, limits: Limits) -> None:
        self._rate = sample_rate_hz
        self._limits = limits
        self._lsb = 2.0 ** (1 - min(bit_depth or 24, 24))
        self._gap = round(limits.clipped_event_gap_s * sample_rate_hz)
        self._longest_plateau = round(limits.longest_plateau_s * sample_rate_hz)
        self._extremes = [_Extreme(channel, sign) for channel in range(channels) for sign in (1, -1)]
        self._frames = 0

    def add(self, block: Block) -> None:
        """Take the next block. Runs that reach its end are held for the one after it."""
        for extreme in self._extremes:
            row = block.by_channel[extreme.channel]
            ends = block.highs if extreme.sign > 0 else block.lows
            top = float(ends[extreme.channel].max() if extreme.sign > 0 else -ends[extreme.channel].min())
            if top > extreme.value:
                extreme.forget()
                extreme.value = top
            if top == extreme.value and top > 0.0:
                self._scan(extreme, row, block.start_frame)
            else:
                extreme.held = row[-1:].copy()
        self._frames += block.frames

    def _scan(self, extreme: _Extreme, row: Floats, start_frame: int) -> None:
        """Count the runs that end in this block; one that reaches its end is held for the next."""
        joined = np.concatenate([extreme.held, row]) * np.float32(extreme.sign)
        offset = start_frame - len(extreme.held)
        at_top = np.flatnonzero(joined == np.float32(extreme.value))
        if not len(at_top):
            extreme.held = row[-1:].copy()
            return
        breaks = np.flatnonzero(np.diff(at_top) > 1)
        starts = at_top[np.concatenate([[0], breaks + 1])]
        ends = at_top[np.concatenate([breaks, [len(at_top) - 1]])] + 1
        keep = len(joined) - 1
        if ends[-1] == len(joined) and len(joined) - starts[-1] <= self._longest_plateau:
            keep = max(0, int(starts[-1]) - 1)
            starts, ends = starts[:-1], ends[:-1]
        self._note_runs(extreme, joined, starts, ends, offset)
        extreme.held = (joined[keep:] * np.float32(extreme.sign)).copy()

    def _note_runs(
        self,
        extreme: _Extreme,
        joined: Floats,
        starts: Indices,
        ends: Indices,
        offset: int,
    ) -> None:
        lengths = ends - starts
        extreme.count += int(lengths.sum())
        long_enough = (lengths >= self._limits.clipped_run_frames) & (lengths <= self._longest_plateau)
        starts, ends, lengths = starts[long_enough], ends[long_enough], lengths[long_enough]
        before = joined[np.maximum(starts - 1, 0)]
        after = joined[np.minimum(ends, len(joined) - 1)]
        step = extreme.value - np.minimum(before, after)
        clipped = (step > self._limits.rounding_step_lsb * self._lsb) | (lengths > self._longest_crest(extreme.value))
        for start, end in zip(starts[clipped], ends[clipped], strict=True):
            self._note_run(extreme, int(start) + offset, int(end) + offset)

    def _longest_crest(self, amplitude: float) -> float:
        """How long rounding alone can hold the crest of the lowest tone at its top."""
        slowest = 2.0 * math.pi * self._limits.lowest_tone_hz / self._rate
        return 2.0 * math.sqrt(2.0 * self._lsb / amplitude) / slowest + 1.0

    def _note_run(self, extreme: _Extreme, start: int, end: int) -> None:
        extreme.run_count += 1
        extreme.clipped_frames += end - start
        extreme.longest = max(extreme.longest, end - start)
        if len(extreme.first) < _FIRST_RUNS:
            extreme.first.append((start, end))
        events = extreme.events
        if events and (start - events[-1][1] <= self._gap or len(events) >= _MOST_EVENTS):
            events[-1][1:] = [end, events[-1][2] + 1, max(events[-1][3], end - start)]
        else:
            events.append([start, end, 1, end - start])

    def finish(self) -> Clipped:
        self._flush()
        found = [extreme for extreme in self._extremes if extreme.run_count and self._is_credible(extreme)]
        runs = sorted((start, extreme.channel, end) for extreme in found for start, end in extreme.first)
        return Clipped(
            runs=sum(extreme.run_count for extreme in found),
            longest_frames=max((extreme.longest for extreme in found), default=0),
            first=tuple(
                ClippedRun(channel, start / self._rate, (end - start) / self._rate)
                for start, channel, end in runs[:_FIRST_RUNS]
            ),
            frames=sum(extreme.clipped_frames for extreme in found),
            level_dbfs=dbfs_from_amplitude(max((extreme.value for extreme in found), default=0.0)),
            events=self._events(found),
        )

    def _flush(self) -> None:
        """A run that lasts to the end of the file."""
        for extreme in self._extremes:
            joined = extreme.held * np.float32(extreme.sign)
            at_top = np.flatnonzero(joined == np.float32(extreme.value))
            if extreme.value > 0.0 and len(at_top):
                starts, ends = at_top[:1], at_top[-1:] + 1
                self._note_runs(extreme, joined, starts, ends, self._frames - len(joined))

    def _is_credible(self, extreme: _Extreme) -> bool:
        """Not so quiet that equal samples are chance, and not a wave that has two values by nature."""
        if extreme.value < amplitude_from_db(self._limits.clipped_lowest_dbfs):
            return False
        pair = [other for other in self._extremes if other.channel == extreme.channel]
        share = sum(other.count for other in pair) / max(1, self._frames)
        return share <= _TWO_VALUED_SHARE or extreme.value >= _RAIL - self._lsb

    def _events(self, found: list[_Extreme]) -> tuple[ClippedEvent, ...]:
        """Runs of all channels and both signs that lie close together are one event; the worst ones are kept."""
        merged: list[list[int]] = []
        for start, end, runs, longest in sorted(event for extreme in found for event in extreme.events):
            if merged and start - merged[-1][1] <= self._gap:
                last = merged[-1]
                last[1:] = [max(last[1], end), last[2] + runs, max(last[3], longest)]
            else:
                merged.append([start, end, runs, longest])
        worst = sorted(merged, key=lambda event: (event[3], event[2]), reverse=True)[:_EVENTS_IN_REPORT]
        return tuple(
            ClippedEvent(start / self._rate, end / self._rate, runs, longest)
            for start, end, runs, longest in sorted(worst)
        )
