"""A click made from the tempo map: every onset on the frame that exact arithmetic gives, and never loud by accident.

The default peak is -12 dBFS (house choice); nothing asked for can pass the hard ceiling, which leaves room below full
scale for what lies between the samples.

In a free passage of the map the click is silent. One bar before it ends, what follows is counted in, in its own tempo
and meter, when the passage is at least that long. A song that begins free has no count-in before it.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from fractions import Fraction
from itertools import chain

import numpy as np

from analysis.core.samples import Doubles
from analysis.maps.tempo_map import FreeStretch, Segment, TempoMap, round_half_up

# House choices, all of them up to the blocks: levels, pitches, how long a click sounds and fades.
DEFAULT_PEAK_DBFS = -12.0
CEILING_DBTP = -6.0
# A sine that starts at once swings a little higher between the samples than on them.
_BETWEEN_SAMPLES_DB = 1.5
_ACCENT_HZ, _BEAT_HZ = 1600.0, 1000.0
_BEAT_RE_ACCENT_DB = -5.0
_DECAY_S, _SOUND_S = 0.012, 0.06
_FADE_S = 0.004
# About 5 s at 48 kHz.
BLOCK_FRAMES = 2**18


@dataclass(frozen=True)
class Click:
    """One click at its exact time: its bar (0 and below are the count-in; a bar that is counted in while the passage
    before it is free has the number before its own), its beat from 0."""

    time_s: Fraction
    bar: int
    beat: int


@dataclass(frozen=True)
class ClickOnset:
    """One click on its frame; bar and beat as in `Click`."""

    frame: int
    bar: int
    beat: int

    @property
    def is_accent(self) -> bool:
        return self.beat == 0


@dataclass(frozen=True)
class ClickPlan:
    """Where every click sits. `lead_s` is how much earlier than the song's files this click starts; `count_in_bars`
    are those before the first bar."""

    onsets: tuple[ClickOnset, ...]
    frames: int
    bar_one_frame: int
    lead_s: Fraction
    sample_rate_hz: int
    count_in_bars: int = 0


def plan_click(
    tempo_map: TempoMap, *, bars: int, count_in_bars: int = 2, sample_rate_hz: int = 48_000, with_files: bool = False
) -> ClickPlan:
    """Place `count_in_bars` and `bars` of clicks.

    The count-in has the meter and tempo of the bar it leads to. A pickup shorter than a bar lies in its last bar; where
    the map has whole bars before bar one, they are clicked as they are, and the count-in leads to the first of them.
    The click starts with the song's files; when the count-in does not fit before bar one, it starts `lead_s` earlier,
    or, `with_files`, does without the clicks that do not fit.
    """
    first_bar = _first_bar(tempo_map, count_in_bars)
    first = tempo_map.segment_at_bar(first_bar)
    count_in_bars = 0 if first.free else count_in_bars
    start_s = tempo_map.time_of_bar(first_bar) - count_in_bars * first.bar_s
    lead_s = Fraction(0) if with_files else max(Fraction(0), -start_s)
    end_s = tempo_map.time_of_bar(bars + 1) + lead_s
    clicks = chain(_count_in(first, first_bar, start_s, count_in_bars), clicks_between(tempo_map, first_bar, bars))
    onsets = onsets_after(-lead_s, clicks, sample_rate_hz)
    bar_one_frame = round_half_up((tempo_map.bar_one_s + lead_s) * sample_rate_hz)
    frames = round_half_up(end_s * sample_rate_hz)
    return ClickPlan(onsets, frames, bar_one_frame, lead_s, sample_rate_hz, count_in_bars)


def _first_bar(tempo_map: TempoMap, count_in_bars: int) -> int:
    first_bar = min(1, tempo_map.segments[0].bar)
    is_short = tempo_map.bar_one_s - tempo_map.time_of_bar(first_bar) < tempo_map.segment_at_bar(1).bar_s
    return 1 if is_short and count_in_bars else first_bar


def _count_in(first: Segment, first_bar: int, start_s: Fraction, bars: int) -> Iterator[Click]:
    for beat in range(bars * first.meter.beats_per_bar):
        bar, in_bar = divmod(beat, first.meter.beats_per_bar)
        yield Click(start_s + beat * first.beat_s, first_bar - bars + bar, in_bar)


def onsets_after(start_s: Fraction, clicks: Iterable[Click], sample_rate_hz: int) -> tuple[ClickOnset, ...]:
    """The clicks from `start_s` on, in frames from there."""
    return tuple(
        ClickOnset(round_half_up((click.time_s - start_s) * sample_rate_hz), click.bar, click.beat)
        for click in clicks
        if click.time_s >= start_s
    )


def clicks_between(tempo_map: TempoMap, first_bar: int, last_bar: int) -> Iterator[Click]:
    """Every click of these bars in order of time: wherever a click sounds, this is where it is laid."""
    entries = {stretch.end_bar: stretch for stretch in tempo_map.free_stretches}
    for bar in range(first_bar, last_bar + 1):
        segment = tempo_map.segment_at_bar(bar)
        if segment.free:
            continue
        if bar in entries and bar > first_bar:
            yield from _counted_in(segment, entries[bar])
        for beat in range(segment.meter.beats_per_bar):
            yield Click(tempo_map.time_of_bar(bar, beat), bar, beat)


def _counted_in(entry: Segment, free: FreeStretch) -> Iterator[Click]:
    """One bar of the entry's own beats before it, where the free passage has room for them."""
    if entry.time_s - free.time_s >= entry.bar_s:
        for beat in range(entry.meter.beats_per_bar):
            yield Click(entry.time_s - entry.bar_s + beat * entry.beat_s, entry.bar - 1, beat)


def render_click(
    tempo_map: TempoMap,
    *,
    bars: int,
    count_in_bars: int = 2,
    sample_rate_hz: int = 48_000,
    peak_dbfs: float = DEFAULT_PEAK_DBFS,
) -> Doubles:
    """The click as samples, as `plan_click` places it.

    Parameters
    ----------
    tempo_map : TempoMap
    bars, count_in_bars, sample_rate_hz : int
        As for `plan_click`.
    peak_dbfs : float
        The accent's peak. It is lowered to the ceiling when more is asked for.

    Returns
    -------
    float64 array, shape (n_frames, 1)
        Full scale is 1.0.
    """
    return render_plan(
        plan_click(tempo_map, bars=bars, count_in_bars=count_in_bars, sample_rate_hz=sample_rate_hz),
        peak_dbfs=peak_dbfs,
    )


def render_plan(plan: ClickPlan, *, peak_dbfs: float = DEFAULT_PEAK_DBFS) -> Doubles:
    """The planned click as samples.

    Returns
    -------
    float64 array, shape (plan.frames, 1)
        Full scale is 1.0.
    """
    return np.concatenate([np.zeros((0, 1)), *render_blocks(plan, peak_dbfs=peak_dbfs)])


def render_blocks(
    plan: ClickPlan, *, peak_dbfs: float = DEFAULT_PEAK_DBFS, block_frames: int = BLOCK_FRAMES
) -> Iterator[Doubles]:
    """The planned click piece by piece, so that hours of it fit into little memory.

    Yields
    ------
    float64 array, shape (n_frames, 1)
        At most `block_frames` frames; full scale is 1.0.
    """
    peak = 10 ** (min(peak_dbfs, CEILING_DBTP - _BETWEEN_SAMPLES_DB) / 20)
    accent = _click_sound(_ACCENT_HZ, plan.sample_rate_hz) * peak
    beat = _click_sound(_BEAT_HZ, plan.sample_rate_hz) * peak * 10 ** (_BEAT_RE_ACCENT_DB / 20)
    ends = [onset.frame for onset in plan.onsets[1:]] + [plan.frames]
    clicks = deque(zip(plan.onsets, ends, strict=True))
    for start in range(0, plan.frames, block_frames):
        samples = np.zeros((min(block_frames, plan.frames - start), 1))
        while clicks and clicks[0][0].frame < start + len(samples):
            onset, end = clicks[0]
            sound = (accent if onset.is_accent else beat)[: end - onset.frame]  # it ends where the next begins
            since = max(0, start - onset.frame)  # what sounded in the block before
            at = onset.frame + since - start
            piece = sound[since : since + len(samples) - at]
            samples[at : at + len(piece), 0] = piece
            if onset.frame + len(sound) > start + len(samples):
                break  # the rest of it belongs to the next block
            clicks.popleft()
        yield samples


def _click_sound(pitch_hz: float, sample_rate_hz: int) -> Doubles:
    """A short decaying sine that peaks at 1 and whose first sample already sounds, so that its onset is its frame."""
    time: Doubles = (np.arange(int(_SOUND_S * sample_rate_hz)) + 0.5) / sample_rate_hz
    fade = np.minimum(1, (_SOUND_S - time) / _FADE_S)
    sound = np.sin(2 * np.pi * pitch_hz * time) * np.exp(-time / _DECAY_S) * fade
    loudest: Doubles = sound / np.abs(sound).max()
    return loudest
