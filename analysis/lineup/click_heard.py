"""How loud a tempo map's click is heard in a track.

The click sounds at the map's beats to the sample, again and again the same; strokes on the same grid come some
milliseconds early or late and are never twice the same wave. So the mean over all beats keeps the click and loses the
strokes. Beats count for more where the track is quiet, in each cell of two milliseconds by itself. The first beat of
the bar often has another sound, so it has a mean of its own. Bands are looked at by themselves too: a click of one tone
is not covered by cymbals then, nor a bright tick by skins.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy import signal

from analysis.core.blocks import Block
from analysis.core.samples import Doubles, Floats, Indices
from analysis.maps.tempo_map import TempoMap

# What is looked at around each beat, and in which bands; a click that leaks from headphones has no lows (house
# choices).
_BEFORE_S, _AFTER_S, _CELL_S = 0.004, 0.028, 0.002
_BANDS_HZ = ((600.0, 21_000.0), (600.0, 2_400.0), (2_400.0, 6_000.0), (6_000.0, 18_000.0))
_HIGHEST = 0.45  # of the rate
# The quietest beats count alike; what follows the last stroke, this far (40 dB) under the loudest, does not count: the
# click has ended there (house choices).
_QUIET_SHARE, _AFTER_THE_LAST = 0.08, 1e-4
# Where a click begins, after its beat: on its way from a headphone to a microphone 3 m off (arithmetic: 9 ms).
_WITHIN_S = 0.01
# With fewer beats nothing can be said (house choice).
_FEWEST = 12
# What the beats share, against what their mean would hold by chance: a click is there from here on, when a cell beside
# it shows half of that too. On good multitracks of the bench the most was 1.7.
_SURE, _CELLS = 4.0, 2


@dataclass(frozen=True)
class Bleed:
    """`level`: the click's peak, where one is heard. `heard_from`: the level from which on one would be."""

    level: float | None
    heard_from: float | None


def beats_of(tempo_map: TempoMap, sample_rate_hz: int, frames: int) -> tuple[Indices, Indices]:
    """Frames of the map's clicks: those on the first beat of a bar, and the others; none in free passages."""
    firsts: list[int] = []
    others: list[int] = []
    bar = 1
    while (frame := tempo_map.frame_of_bar(bar, sample_rate_hz)) < frames:
        segment = tempo_map.segment_at_bar(bar)
        if not segment.free:
            firsts.append(frame)
            beats = range(1, segment.meter.beats_per_bar)
            others += [tempo_map.frame_of_bar(bar, sample_rate_hz, beat) for beat in beats]
        bar += 1
    return np.array(firsts, np.intp), np.array(others, np.intp)


class BleedMeter:
    """Collects a track's sound around the beats; of several channels their mean."""

    def __init__(self, beats: tuple[Indices, Indices], sample_rate_hz: int) -> None:
        self._beats = beats
        self._before, self._after = round(_BEFORE_S * sample_rate_hz), round(_AFTER_S * sample_rate_hz)
        self._cell, self._rate_hz = round(_CELL_S * sample_rate_hz), sample_rate_hz
        edges = [(low, min(high, _HIGHEST * sample_rate_hz)) for low, high in _BANDS_HZ]
        bands = [
            signal.butter(2, (low, high), "band", fs=sample_rate_hz, output="sos") for low, high in edges if low < high
        ]
        self._bands = bands
        self._states = [np.zeros((len(sections), 2)) for sections in bands]
        self._held = np.zeros((len(bands), 0), np.float32)
        self._pieces: tuple[list[Floats], list[Floats]] = ([], [])

    def add(self, block: Block) -> None:
        """Take the next block of the file."""
        mono = block.by_channel.mean(axis=0)
        filtered = [self._filtered(mono, band) for band in range(len(self._bands))]
        joined = np.concatenate([self._held, np.array(filtered, np.float32)], axis=1)
        held = self._held.shape[1]
        first = block.start_frame - held
        length = self._before + self._after
        for beats, pieces in zip(self._beats, self._pieces, strict=True):
            starts = beats - self._before - first
            # What ends in the part that is held was taken with the block before.
            new = (starts >= 0) & (starts + length <= joined.shape[1]) & (starts + length > held)
            pieces += [joined[:, start : start + length].copy() for start in starts[new]]
        self._held = joined[:, max(0, joined.shape[1] - length) :].copy()

    def _filtered(self, mono: Floats, band: int) -> Floats:
        filtered, self._states[band] = signal.sosfilt(self._bands[band], mono, zi=self._states[band])
        return np.asarray(filtered, np.float32)

    def finish(self) -> Bleed:
        played = [_while_played(pieces) for pieces in self._pieces]
        found = [self._bleed(pieces) for pieces in played if len(pieces) >= _FEWEST]
        levels = [bleed.level for bleed in found if bleed.level is not None]
        limits = [bleed.heard_from for bleed in found if bleed.heard_from is not None]
        return Bleed(max(levels, default=None), min(limits, default=None))

    def _bleed(self, pieces: Sequence[Floats]) -> Bleed:
        """The level from the widest band in which a click is heard: narrow ones round its peak off."""
        bands = [self._in_band([piece[band] for piece in pieces]) for band in range(len(self._bands))]
        levels = [bleed.level for bleed in bands if bleed.level is not None]
        # A click of one tone lies in one of the narrow bands, and nobody knows in which.
        wide, *narrow = [bleed.heard_from for bleed in bands if bleed.heard_from is not None]
        return Bleed(bands[0].level or max(levels, default=None), min(wide, max(narrow)))

    def _in_band(self, pieces: Sequence[Floats]) -> Bleed:
        count = len(pieces[0]) // self._cell
        cells = np.array(pieces, np.float64)[:, : count * self._cell].reshape(len(pieces), count, self._cell)
        weights = _weights(np.square(cells).mean(axis=2))
        mean = np.einsum("kc,kcs->cs", weights, cells)
        chance = np.einsum("kc,kc->c", weights**2, np.square(cells).mean(axis=2)) + 1e-20
        ratio = (np.square(mean).mean(axis=1) - chance) / chance
        first = self._before // self._cell
        near = chance[first : first + round(_WITHIN_S * self._rate_hz) // self._cell]
        heard_from = float(np.sqrt(2 * (_SURE + 1) * np.median(near)))
        best = int(ratio.argmax())
        beside = np.flatnonzero(ratio[max(0, best - 1) : best + 2] >= _SURE / 2) + max(0, best - 1)
        if ratio[best] < _SURE or len(beside) < _CELLS:
            return Bleed(None, heard_from)
        return Bleed(float(np.abs(mean[beside]).max()), heard_from)


def _while_played(pieces: Sequence[Floats]) -> Sequence[Floats]:
    """Without the beats after the last stroke."""
    powers = np.array([float(np.square(piece).mean()) for piece in pieces])
    loud = np.flatnonzero(powers > _AFTER_THE_LAST * powers.max(initial=0.0))
    return pieces[: int(loud[-1]) + 1] if len(loud) else ()


def _weights(powers: Doubles) -> Doubles:
    """Of each beat in each cell: quiet ones count, and what stands beside a loud cell is not quiet."""
    padded = np.pad(powers, ((0, 0), (1, 1)))
    around = np.maximum(np.maximum(padded[:, :-2], padded[:, 2:]), powers)
    around = np.maximum(around, np.quantile(around, _QUIET_SHARE, axis=0)) + 1e-12
    weights: Doubles = 1 / around
    return np.asarray(weights / weights.sum(axis=0))
