"""Single bars that are shorter or longer than the rest: where the bar phase slips on an unbroken beat.

Where the odds that a bar begins are known by beat (`line_odds`), the likeliest lines are found by dynamic programming:
an odd bar is believed if it wins more than its price. In meters without such odds beats are told by what happens on
them. Laid on bars of one length, the beats before and after an odd bar smear each other's pattern; where the count
restarts at the right beat, one pattern explains both sides much better.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np

from analysis.bars.beat_evidence import beat_evidence
from analysis.bars.beat_table import BeatTable, Prepared
from analysis.bars.line_odds import BEATS_KNOWN, line_odds
from analysis.bars.readings import MeterKind, bars_of
from analysis.bars.weighing import fitted_weights
from analysis.core.samples import Doubles, Flags

# Bars that each side of an odd bar must have, and how many odd bars a song may (house choices).
_LEAST_SIDE_BARS = 4
_MOST_SLIPS = 4
# Gain in explained spread, per beat; likeness of both sides' patterns with and without the slip. In songs without an
# odd bar the gain is below 0.08 and the sides are alike as they are. Signals that hardly change are not blown up beyond
# this share of the middle one (house choice).
_LEAST_GAIN = 0.3
_LEAST_ALIKE, _MOST_ALIKE_UNMOVED = 0.55, 0.3
_SPREAD_FLOOR = 0.25
# What an odd bar costs in log odds, by the beats of the usual bar and its own: half a bar is the likeliest. The first
# and the last bars are not looked at: a slowing end is not on the beat. The price is from songs without odd bars, which
# win less by one.
PRICE = 24.0
_DEARER = {2: {1: 1.0, 3: 1.0}, 3: {2: 1.0, 4: 1.5}, 4: {2: 1.0, 3: 1.5, 5: 1.5, 6: 1.5}}
_FIRST_BARS, _LAST_BARS = 2, 2
# Where the song's evidence for its bars, the odd ones left out, is weaker than this, the reading is in doubt: in songs
# read in a wrong meter it was .48 at most, at true odd bars above .99.
_LEAST_SHARE = 0.7


@dataclass(frozen=True)
class Slip:
    """At `beat` of the table the count restarts, `beats` after the last bar line before it."""

    beat: int
    beats: int


@dataclass(frozen=True)
class SlippedBars:
    """Where bars begin when the count slips: a downbeat near the song's start, the slips, how sure the phase is."""

    downbeat: int
    slips: tuple[Slip, ...]
    confidence: float


@dataclass(frozen=True)
class _Shift:
    """From `beat` on, beats stand `shift` places further in the bar than the count says."""

    beat: int
    shift: int


def find_slips(
    prepared: Prepared, table: BeatTable, meter: MeterKind, *, price: float | None = None
) -> SlippedBars | None:
    """The odd bars of a song whose beats and meter are known; None when all bars are alike.

    Where a `price` of an odd bar is given, in log odds, the caller asks the whole song whether to believe them: then
    there may be many, and the song's own evidence for its bars may be weak.
    """
    if meter.beats in BEATS_KNOWN:
        return _slips_by_odds(prepared, table, meter, price)
    patterns = _patterns(table)
    shifts = sorted(_shifts(patterns, meter.beats, 0, len(patterns)), key=lambda shift: shift.beat)
    if not 0 < len(shifts) <= _MOST_SLIPS:
        return None
    downbeat, confidence = _phase(prepared, table, meter, shifts)
    slips: list[Slip] = []
    phase = downbeat
    for shift in shifts:
        restart = (phase - shift.shift) % meter.beats
        beat = _on_phase(patterns, meter.beats, shift, restart)
        beats = (beat - phase) % meter.beats
        slips.append(Slip(beat, beats))
        phase = restart
    return SlippedBars(downbeat, tuple(slips), confidence)


def _slips_by_odds(prepared: Prepared, table: BeatTable, meter: MeterKind, price: float | None) -> SlippedBars | None:
    """The odd bars among the likeliest bar lines, unless there are too many to be believed."""
    lines = likeliest_lines(line_odds(table, meter.beats), meter.beats, PRICE if price is None else price)
    odd = [(start, end) for start, end in pairwise(lines) if end - start != meter.beats]
    if not odd or (price is None and len(odd) > _MOST_SLIPS):
        return None
    shares = _shares(prepared, table, meter, [(start, (end - start) % meter.beats) for start, end in odd])
    share = shares[lines[0]]
    if price is None and share < _LEAST_SHARE:
        return None
    return SlippedBars(lines[0], tuple(Slip(end, end - start) for start, end in odd), share)


def likeliest_lines(odds: Doubles, beats: int, price: float = PRICE) -> list[int]:
    """Beats on which bars begin, so that their log odds add up to the most, less the price of odd bars.

    Parameters
    ----------
    odds : float64 array, shape (n_beats,)
        That a bar begins on each beat.
    beats : int
        Of the usual bar: one of `BEATS_KNOWN`.
    price : float
        Of an odd bar of half the length, in log odds; others are dearer.
    """
    count = len(odds)
    prices = {length: price * times for length, times in _DEARER[beats].items()}
    total, before = np.full(count, -np.inf), np.full(count, -1)
    total[:beats] = odds[:beats]
    for beat in range(1, count):
        ways = [(beat - beats, 0.0)]
        if beat + _LAST_BARS * beats < count:
            ways += [(beat - length, paid) for length, paid in prices.items()]
        for start, paid in ways:
            if start < (_FIRST_BARS * beats if paid else 0):
                continue
            if total[start] - paid + odds[beat] > total[beat]:
                total[beat], before[beat] = total[start] - paid + odds[beat], start
    lines = [count - beats + int(np.argmax(total[-beats:]))]
    while before[lines[-1]] >= 0:
        lines.append(int(before[lines[-1]]))
    return lines[::-1]


def _patterns(table: BeatTable) -> Doubles:
    """What happens on each beat and its quarters: attacks, bass notes, strength low to high, changes of harmony."""
    quarters = slice(0, None, 3)
    strength = np.log1p(table.strength[:, quarters])
    groups = [strength[..., low:high].sum(axis=-1) for low, high in ((0, 2), (2, 4), (4, None))]
    attacks = [np.sqrt(table.onsets[:, quarters]), np.sqrt(table.bass_onsets[:, quarters])]
    rows = np.concatenate([*attacks, *groups, table.harmony_change[:, ::6], table.bass_change[:, ::6]], axis=1)
    rows -= rows.mean(axis=0)
    spread = rows.std(axis=0)
    standard: Doubles = rows / (spread + _SPREAD_FLOOR * np.median(spread) + 1e-9)
    return standard


def _shifts(patterns: Doubles, beats: int, start: int, end: int) -> Iterator[_Shift]:
    """The clearest slip between two beats, then what each side of it still hides."""
    found = _clearest(patterns[start:end], beats)
    if found is None:
        return
    at = start + found.beat
    yield _Shift(at, found.shift)
    yield from _shifts(patterns, beats, start, at)
    yield from _shifts(patterns, beats, at, end)


def _clearest(rows: Doubles, beats: int) -> _Shift | None:
    least = _LEAST_SIDE_BARS * beats
    if len(rows) < 2 * least:
        return None
    sums, counts = _running(rows, beats)
    gains = np.array([_gains(sums, counts, shift) for shift in range(1, beats)])
    gains[:, :least] = gains[:, len(rows) - least :] = -np.inf
    row, beat = np.unravel_index(int(gains.argmax()), gains.shape)
    found = _Shift(int(beat), int(row) + 1)
    before, after = sums[beat] / counts[beat][:, None], (sums[-1] - sums[beat]) / (counts[-1] - counts[beat])[:, None]
    alike = _alike(before, np.roll(after, found.shift, axis=0))
    clear = gains[row, beat] > _LEAST_GAIN * len(rows) and alike > _LEAST_ALIKE
    return found if clear and _alike(before, after) < _MOST_ALIKE_UNMOVED else None


def _running(rows: Doubles, beats: int) -> tuple[Doubles, Doubles]:
    """Sums of the patterns, and their number, by place in the bar, up to each beat."""
    is_place = (np.arange(len(rows))[:, None] % beats == np.arange(beats)).astype(float)
    sums = np.cumsum(is_place[:, :, None] * rows[:, None, :], axis=0)
    zeros = np.zeros((1, beats))
    counts = np.concatenate([zeros, np.cumsum(is_place, axis=0)])
    return np.concatenate([np.zeros((1, *sums.shape[1:])), sums]), counts


def _gains(sums: Doubles, counts: Doubles, shift: int) -> Doubles:
    """How much more the mean pattern by place explains, for a slip by `shift` at each beat."""
    moved = sums + np.roll(sums[-1] - sums, shift, axis=1)
    moved_counts = counts + np.roll(counts[-1] - counts, shift, axis=1)
    explained = (moved**2).sum(axis=2) / np.maximum(moved_counts, 1)
    gains: Doubles = explained.sum(axis=1) - float(((sums[-1] ** 2).sum(axis=1) / counts[-1]).sum())
    return gains[:-1]


def _alike(one: Doubles, two: Doubles) -> float:
    one, two = one - one.mean(axis=0), two - two.mean(axis=0)
    return float((one * two).sum() / np.sqrt((one**2).sum() * (two**2).sum() + 1e-9))


def _phase(prepared: Prepared, table: BeatTable, meter: MeterKind, shifts: list[_Shift]) -> tuple[int, float]:
    """Which beat begins the first side's bars, and how sure: the song's evidence with the odd beats left out."""
    # Leaving out this many beats brings the count after them back on the places before them.
    shares = _shares(prepared, table, meter, [(shift.beat, (-shift.shift) % meter.beats) for shift in shifts])
    best = max(shares, key=lambda bar: shares[bar])
    return best, shares[best]


def _shares(prepared: Prepared, table: BeatTable, meter: MeterKind, odd: list[tuple[int, int]]) -> dict[int, float]:
    """How likely each of the first beats begins a bar, by the song's evidence with the odd beats left out.

    `odd` tells the first of them and how many, for each place.
    """
    kept = np.ones(len(table.beat_s), bool)
    for first, count in odd:
        kept[first : first + count] = False
    regular = _only(table, kept)
    shared = np.concatenate([beat_evidence(regular), [1.0, 1.0]])
    found = [(bar, evidence) for kind, bar, evidence in bars_of(prepared, regular, shared) if kind == meter]
    shares = fitted_weights().probabilities(np.array([np.concatenate([shared, evidence]) for _, evidence in found]))
    return {bar: float(share) for (bar, _), share in zip(found, shares, strict=True)}


def _only(table: BeatTable, kept: Flags) -> BeatTable:
    """The table without some beats, its times closed up."""
    return replace(
        table,
        beat_s=table.beat_s[: kept.sum()],
        onsets=table.onsets[kept],
        bass_onsets=table.bass_onsets[kept],
        strength=table.strength[kept],
        harmony_change=table.harmony_change[kept],
        bass_change=table.bass_change[kept],
        chroma=table.chroma[kept],
        bass=table.bass[kept],
    )


def _on_phase(patterns: Doubles, beats: int, shift: _Shift, restart: int) -> int:
    """The beat nearest to the slip that begins a bar of the side after it; of two, the one that explains more."""
    sums, counts = _running(patterns, beats)
    gains = _gains(sums, counts, shift.shift)
    near = np.arange(max(0, shift.beat - beats + 1), min(len(gains), shift.beat + beats))
    near = near[near % beats == restart]
    return int(near[np.argmax(gains[near])])
