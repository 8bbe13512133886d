"""What happens on every beat of a supposed grid: onsets, band strengths and changes of harmony in twelve slots a beat.

Twelve slots hold halves, thirds, quarters and both kinds of swing.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from analysis.core.samples import Doubles, Indices
from analysis.tempo.evidence import Evidence

# Halves, thirds, quarters and sixths of a beat fall on slots.
_SLOTS = 12
# House choices: the fewest beats that make a table; harmony is compared over this long before and after a slot;
# strength is the most within so many frames; an attack is on its place within this; even pulses are counted up to eight
# a beat.
_FEWEST_BEATS = 5
_HARMONY_REACH_S = 0.55
_STRENGTH_REACH_FRAMES = 2
_ON_PLACE_S = 0.02
PULSES = 8


@dataclass(frozen=True)
class Prepared:
    """Evidence made ready for many look-ups.

    Attributes
    ----------
    evidence : Evidence
    strength : float64 array, shape (n_frames, n_bands)
        The maximum nearby, re the song's mean in that band.
    bass_sums, chroma_sums : float64 array, shape (n_harmony + 1, 12)
        Running sums, starting with 0.
    """

    evidence: Evidence
    strength: Doubles
    bass_sums: Doubles
    chroma_sums: Doubles


def prepare(evidence: Evidence) -> Prepared:
    """Make a song's evidence ready for `beat_table`, once for all grids."""
    strength = evidence.strength / np.maximum(evidence.strength.mean(axis=0), 1e-9)
    highest = strength.copy()
    for shift in range(1, _STRENGTH_REACH_FRAMES + 1):
        highest[shift:] = np.maximum(highest[shift:], strength[:-shift])
        highest[:-shift] = np.maximum(highest[:-shift], strength[shift:])
    return Prepared(evidence, highest, _running_sums(evidence.bass), _running_sums(evidence.chroma))


def _running_sums(rows: Doubles) -> Doubles:
    return np.concatenate([np.zeros((1, rows.shape[1])), np.cumsum(rows, axis=0)])


@dataclass(frozen=True)
class BeatTable:
    """What happens by beat and slot, float64 arrays.

    Attributes
    ----------
    period_s : float
    beat_s : shape (n_beats,)
        When each beat falls, seconds.
    on_straight, on_thirds : float
        Share of the attacks on halves and quarters, and on thirds, of the beat, over what chance gives.
    pulses : shape (PULSES,)
        How well the attacks gather on 1, 2, ... 8 even pulses a beat, 0 to 1.
    onsets, bass_onsets : shape (n_beats, 12)
        Weight by slot.
    strength : shape (n_beats, 12, n_bands)
        Re the song's mean in that band.
    harmony_change, bass_change : shape (n_beats, 12)
        0 to 1.
    chroma, bass : shape (n_beats, 12)
        Pitch classes from C: what sounds during the beat.
    """

    period_s: float
    beat_s: Doubles
    on_straight: float
    on_thirds: float
    pulses: Doubles
    onsets: Doubles
    bass_onsets: Doubles
    strength: Doubles
    harmony_change: Doubles
    bass_change: Doubles
    chroma: Doubles
    bass: Doubles


def beat_table(prepared: Prepared, period_s: float, beat_at_s: float) -> BeatTable | None:
    """Tabulate the song on an even grid.

    Parameters
    ----------
    prepared : Prepared
    period_s : float
        Beat period.
    beat_at_s : float
        When some beat falls, in seconds.

    Returns
    -------
    BeatTable or None
        The beats around the song's sound; None when there are fewer than five.
    """
    evidence = prepared.evidence
    beat_s = _beats_around(evidence, period_s, beat_at_s)
    if len(beat_s) < _FEWEST_BEATS:
        return None
    slot_s = beat_s[:, None] + np.arange(_SLOTS) * (period_s / _SLOTS)
    beats = (evidence.onset_s - beat_s[0]) / period_s
    place = np.rint(beats * _SLOTS).astype(np.intp)
    inside = (place >= 0) & (place < slot_s.size)
    place, weights = np.where(inside, place, 0), evidence.onset_weight * inside
    played = weights * ~evidence.onset_is_bass
    return BeatTable(
        period_s=period_s,
        beat_s=beat_s,
        on_straight=_on_parts(beats, played, 4, period_s),
        on_thirds=_on_parts(beats, played, 3, period_s),
        pulses=_pulses(beats, played),
        onsets=_by_slot(place, played, slot_s),
        bass_onsets=_by_slot(place, weights * evidence.onset_is_bass, slot_s),
        strength=_strength_at(prepared, slot_s),
        harmony_change=_change_at(prepared.chroma_sums, evidence.harmony_s, slot_s),
        bass_change=_change_at(prepared.bass_sums, evidence.harmony_s, slot_s),
        chroma=_mean_between(prepared.chroma_sums, evidence.harmony_s, beat_s, beat_s + period_s),
        bass=_mean_between(prepared.bass_sums, evidence.harmony_s, beat_s, beat_s + period_s),
    )


def _beats_around(evidence: Evidence, period_s: float, beat_at_s: float) -> Doubles:
    """The grid's beats from the first sound to the last."""
    first = int(np.floor((evidence.first_sound_s - beat_at_s) / period_s + 0.25))
    last = int(np.ceil((evidence.last_sound_s - beat_at_s) / period_s - 0.25))
    return beat_at_s + np.arange(first, last + 1, dtype=np.float64) * period_s


def _by_slot(place: Indices, weights: Doubles, slot_s: Doubles) -> Doubles:
    """The weights summed by the slot they fall into, in the shape of `slot_s`."""
    return np.asarray(np.bincount(place, weights, slot_s.size), np.float64).reshape(slot_s.shape)


def _on_parts(beats: Doubles, weights: Doubles, parts: int, period_s: float) -> float:
    """Share of the weight that lies near `parts` even places a beat, less what even spreading would put there."""
    off_s = np.abs(beats * parts - np.rint(beats * parts)) / parts * period_s
    near_s = min(_ON_PLACE_S, period_s / parts / 4)
    share = float(weights[off_s < near_s].sum() / max(float(weights.sum()), 1e-9))
    return share - 2 * near_s * parts / period_s


def _pulses(beats: Doubles, weights: Doubles) -> Doubles:
    """Coherence of the attacks at 1, 2, ... times the beat's rate: a beat whose bar holds seven pulses shows none."""
    turn = np.exp(2j * np.pi * beats)
    power, found = weights.astype(np.complex128), np.zeros(PULSES)
    for order in range(PULSES):
        power *= turn
        found[order] = abs(power.sum())
    return found / max(float(weights.sum()), 1e-9)


def _strength_at(prepared: Prepared, slot_s: Doubles) -> Doubles:
    frame_s = prepared.evidence.frame_s
    frames = np.interp(slot_s.ravel(), frame_s, np.arange(len(frame_s)))
    found: Doubles = prepared.strength[np.rint(frames).astype(np.intp)].reshape(*slot_s.shape, -1)
    return found


def _mean_between(sums: Doubles, times_s: Doubles, start_s: Doubles, end_s: Doubles) -> Doubles:
    """Mean row between two times each, shape start_s.shape + (12,)."""
    index = np.arange(len(times_s))
    low = np.rint(np.interp(start_s, times_s, index)).astype(np.intp)
    high = np.maximum(np.rint(np.interp(end_s, times_s, index)).astype(np.intp), low + 1)
    mean: Doubles = (sums[high] - sums[low]) / (high - low)[..., None]
    return mean


def _change_at(sums: Doubles, times_s: Doubles, slot_s: Doubles) -> Doubles:
    """Cosine distance between what sounds before and after each slot, 0 to 1."""
    after = _mean_between(sums, times_s, slot_s, slot_s + _HARMONY_REACH_S)
    before = _mean_between(sums, times_s, slot_s - _HARMONY_REACH_S, slot_s)
    after, before = after - after.mean(-1, keepdims=True), before - before.mean(-1, keepdims=True)
    product = (after * before).sum(-1)
    size = np.sqrt((after**2).sum(-1) * (before**2).sum(-1))
    return np.where(size > 1e-9, 0.5 - 0.5 * product / np.maximum(size, 1e-9), 0.0)
