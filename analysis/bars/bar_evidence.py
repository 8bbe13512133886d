"""Evidence for the meter and for where the bar begins: contrasts at its first beat, repetition, one harmony a bar."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Self

import numpy as np

from analysis.bars.beat_table import BeatTable, Prepared
from analysis.core.samples import Doubles

# Likeness is worked out up to this many beats apart: four bars of seven and one beat are 29, the rest leaves room
# (house choice).
_LAGS = 40
# This near a downbeat, in beats, a sound is on it (house choice).
_ON_BEAT = 0.15
# Beats on which the groups of an uneven bar begin, besides its first.
_GROUP_STARTS = {5: ((3,), (2,)), 7: ((2, 4), (2, 5), (3, 5), (4,), (3,))}
# The rows of `bar_signals`, those that mark groups taken together, and the columns of what is made of them.
SIGNALS = (
    "harmony_change",
    "bass_change",
    "low_strength",
    "middle_strength",
    "high_strength",
    "attacks",
    "bass_attacks",
    "off_beat_attacks",
)
_GROUP_SIGNALS = ((0, 1), (2, 3, 4), (5, 6))
CONTRAST_COLUMNS = (
    *(f"bar.stands_out.{signal}" for signal in SIGNALS),
    *(f"bar.margin.{signal}" for signal in SIGNALS[:2]),
    *(f"bar.half.{signal}" for signal in SIGNALS[:3]),
    *(f"bar.back.{signal}" for signal in SIGNALS),
)
GROUP_COLUMNS = ("groups.change", "groups.strength", "groups.attacks", "groups.sum")
WITHIN_COLUMNS = ("within.chroma", "within.bass", "within.chroma_re_others", "within.bass_re_others")
REPEAT_COLUMNS = (
    "repeats.rhythm.one",
    "repeats.rhythm.two",
    "repeats.rhythm.one_re_near",
    "repeats.harmony.one",
    "repeats.harmony.two",
    "repeats.harmony.one_re_near",
    "repeats.rhythm.four",
    "repeats.rhythm.four_re_near",
    "repeats.harmony.four",
    "repeats.harmony.four_re_near",
)
END_COLUMNS = (
    "ends.first_on_bar",
    "ends.first_one_before",
    "ends.first_two_before",
    "ends.first_after",
    "ends.last_on_bar",
    "ends.last_place",
)


def bar_signals(table: BeatTable) -> Doubles:
    """What may mark a downbeat, by beat, each with mean 0 and spread 1.

    Returns
    -------
    float64 array, shape (len(SIGNALS), n_beats)
    """
    strength = table.strength[:, 0]
    signals = np.stack(
        [
            table.harmony_change[:, 0],
            table.bass_change[:, 0],
            np.log1p(strength[:, :2].sum(1)),
            np.log1p(strength[:, 2:4].sum(1)),
            np.log1p(strength[:, 4:].sum(1)),
            table.onsets[:, 0],
            table.bass_onsets[:, 0],
            table.onsets[:, 6] - table.onsets[:, 0],
        ]
    )
    signals -= signals.mean(axis=1, keepdims=True)
    standard: Doubles = signals / (signals.std(axis=1, keepdims=True) + 1e-3)
    return standard


def bar_contrast(means: Doubles, bar: int) -> Doubles:
    """How beat `bar` stands out of the other beats of the bar.

    Parameters
    ----------
    means : float64 array, shape (beats of a bar, n_signals)
        Mean of each signal by beat of the bar.
    bar : int
        The beat that is taken for the first.

    Returns
    -------
    float64 array, shape (len(CONTRAST_COLUMNS),)
    """
    beats = len(means)
    others = np.delete(means, bar, axis=0)
    stands_out = means[bar] - others.mean(axis=0)
    margin = means[bar] - others.max(axis=0)
    half = means[(bar + beats // 2) % beats] - means[bar - 1] if beats == 4 else np.zeros(means.shape[1])
    back = means[bar] + means[bar - 2] - means[bar - 1] - means[bar - 3] if beats == 4 else np.zeros(means.shape[1])
    return np.concatenate([stands_out, margin[:2], half[:3], back])


def group_contrast(means: Doubles, bar: int) -> Doubles:
    """How the beats on which groups begin stand out in a bar of 5 or 7, under the grouping that fits best.

    Parameters
    ----------
    means : float64 array, shape (beats of a bar, n_signals)
        Mean of each signal by beat of the bar.
    bar : int
        The beat that is taken for the first.

    Returns
    -------
    float64 array, shape (len(GROUP_COLUMNS),)
        All 0 in other meters.
    """
    beats = len(means)
    groupings = _GROUP_STARTS.get(beats, ())
    if not groupings:
        return np.zeros(len(_GROUP_SIGNALS) + 1)
    signals = np.stack([means[:, list(columns)].mean(axis=1) for columns in _GROUP_SIGNALS], axis=1)
    from_bar = np.roll(signals, -bar, axis=0)
    found = []
    for starts in groupings:
        begins = np.zeros(beats, bool)
        begins[[0, *starts]] = True
        found.append(from_bar[begins].mean(axis=0) - from_bar[~begins].mean(axis=0))
    best = max(found, key=lambda contrast: float(contrast.sum()))
    return np.array([*best, best.sum()])


def within_bars(table: BeatTable, beats: int) -> Doubles:
    """How even the harmony is within bars that start on each beat.

    Returns
    -------
    float64 array, shape (beats, len(WITHIN_COLUMNS))
        By the beat on which bars start: share of the variance that lies inside bars, then re the mean over all starts.
    """
    columns = [_within(rows, beats) for rows in (table.chroma, table.bass)]
    values = np.stack(columns, axis=1)
    return np.concatenate([values, values - values.mean(axis=0)], axis=1)


def _within(rows: Doubles, beats: int) -> Doubles:
    """Share of the variance over the song that lies inside bars, by the beat on which bars start."""
    total = float(((rows - rows.mean(axis=0)) ** 2).sum() / len(rows)) + 1e-9
    found = np.ones(beats)
    for start in range(beats):
        bars = (len(rows) - start) // beats
        if bars:
            inside = rows[start : start + bars * beats].reshape(bars, beats, -1)
            found[start] = float(((inside - inside.mean(axis=1, keepdims=True)) ** 2).sum() / (bars * beats)) / total
    return found


@dataclass(frozen=True)
class Repeats:
    """How alike beats that lie 1, 2, ... apart are, in rhythm and in harmony.

    Both are float64 arrays of shape (_LAGS + 1,), by distance in beats.
    """

    rhythm: Doubles
    harmony: Doubles

    @classmethod
    def of(cls, table: BeatTable) -> Self:
        return cls(_likeness(np.sqrt(table.onsets)), _likeness(table.chroma - table.chroma.mean(axis=0)))


def _likeness(rows: Doubles) -> Doubles:
    pattern = rows / np.maximum(np.sqrt((rows**2).sum(1, keepdims=True)), 1e-9)
    found = np.full(_LAGS + 1, np.nan)
    for lag in range(1, min(_LAGS, len(rows) - 4) + 1):
        found[lag] = float((pattern[lag:] * pattern[:-lag]).sum(1).mean())
    base = float(np.nanmean(found[1:13]))
    return np.where(np.isnan(found), base, found) - base


def repeats_of(repeats: Repeats, beats: int) -> Doubles:
    """Likeness after one, two and four bars of `beats`, and how one and four bars stand out of their neighbours.

    Returns
    -------
    float64 array, shape (len(REPEAT_COLUMNS),)
    """
    rows: list[float] = []
    for likeness in (repeats.rhythm, repeats.harmony):
        one, two, four = likeness[beats], likeness[2 * beats], likeness[4 * beats]
        rows += [one, two, one - max(likeness[beats - 1], likeness[beats + 1])]
        rows += [four, four - max(likeness[4 * beats - 1], likeness[4 * beats + 1])]
    # In the order of `REPEAT_COLUMNS`.
    return np.array([rows[0], rows[1], rows[2], rows[5], rows[6], rows[7], rows[3], rows[4], rows[8], rows[9]])


def end_evidence(prepared: Prepared, table: BeatTable, beats: int, bar: int) -> Doubles:
    """Where the first and the last sound fall within the bar that begins on beat `bar` of the table.

    Returns
    -------
    float64 array, shape (len(END_COLUMNS),)
    """
    evidence = prepared.evidence
    downbeat_s = table.beat_s[bar]
    first = (evidence.first_sound_s - downbeat_s) / table.period_s % beats
    last = (evidence.onset_s[-1] - downbeat_s) / table.period_s % beats
    before = beats - first
    near = min(first, before) < _ON_BEAT
    return np.array(
        [
            float(near),
            float(not near and before <= 1.1),
            float(not near and 1.1 < before <= 2.1),
            float(not near and first <= 0.6),
            float(min(last, beats - last) < _ON_BEAT),
            last / beats,
        ]
    )
