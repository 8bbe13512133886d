"""Recognise a click: one short sound that comes again and again, on time to a fraction of a millisecond.

A person who plays a steady pulse scatters by milliseconds; a click does not. That, an even pulse, and silence before
each sound tell a click from music whatever it sounds like. Its accents, louder or of another colour, give the bar.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from analysis.core.samples import Doubles, Flags, Indices
from analysis.features.feature_arrays import Features

# A count-in of one bar of four is the least that shows a pulse (house choice).
_LEAST_CLICKS = 4
# Scatter around the local pulse: a click made by a program stays within its rounding; a player does not.
# House choices, all down to the accents: other attacks than clicks, clicks that are there rather than filled in, the
# longest and the shortest pulse, how far clicks leave the line of a constant tempo, how much louder an accent is.
_MOST_SCATTER_S = 0.0013
_MOST_OTHER_SHARE = 0.12
_LEAST_PRESENT = 0.55
_SLOWEST_S, _FASTEST_S = 2.1, 0.12
_CONSTANT_S = 0.0008
_ACCENT_DB = 1.5
# Notes are compared this long after each sound begins, by the cosine of their pitch classes; the numbers are from
# the clicks and parts named in `_changes_its_notes`.
_RINGS_AFTER_S = 0.03
_SAME_NOTES, _MOST_KINDS, _LEAST_COVERED = 0.9, 3, 0.8
# Bars that accents may show.
_BEATS_OF_BAR = (2, 3, 4, 5, 6, 7, 8, 12)
# More clicks a bar than this are halves or thirds of the beat, when they come this fast.
_SUBDIVIDED = {8: 2, 6: 3, 12: 3}


@dataclass(frozen=True)
class ClickTrack:
    """A click's grid.

    Attributes
    ----------
    clicks_s : float64 array, shape (n_clicks,)
        Every click's place in seconds, gaps filled.
    is_accent : bool array, shape (n_clicks,)
    period_s : float or None
        Between clicks, when it is constant.
    period_error_s, scatter_s : float
        Standard error of the period, and how far clicks scatter around their pulse.
    clicks_per_bar : int or None
        None without accents.
    clicks_per_beat : int
    accent_confidence : float
        Share of the clicks' variance that the accents explain.
    missing : tuple of (float, float)
        Last click before each gap and first after it, in seconds.
    """

    clicks_s: Doubles
    is_accent: Flags
    period_s: float | None
    period_error_s: float
    scatter_s: float
    clicks_per_bar: int | None
    clicks_per_beat: int
    accent_confidence: float
    missing: tuple[tuple[float, float], ...]

    @property
    def beats_s(self) -> Doubles:
        """Every click that is a beat: float64 array, shape (n_beats,), in seconds."""
        return self.clicks_s[self.first_accent % self.clicks_per_beat :: self.clicks_per_beat]

    @property
    def first_accent(self) -> int:
        return int(np.argmax(self.is_accent)) if self.is_accent.any() else 0

    @property
    def beats_per_bar(self) -> int | None:
        """None where accents say no bar: every other one of fast clicks is a beat, and no bar has one beat."""
        beats = self.clicks_per_bar // self.clicks_per_beat if self.clicks_per_bar else 1
        return beats if beats > 1 else None


def find_click(features: Features) -> ClickTrack | None:
    """The click in a file.

    Parameters
    ----------
    features : Features
        Of the one file.

    Returns
    -------
    ClickTrack or None
        None when the file holds something else.
    """
    numbered = _numbered(_events(features))
    if numbered is None:
        return None
    times, counts, scatter_s = numbered
    every = np.arange(counts[-1] + 1)
    filled_s = np.interp(every, counts, times)
    loudness, colour = _sounds(features, times)
    if loudness.std() > 12 or _changes_its_notes(features, times):
        return None
    per_bar, first, confidence = _accents(counts, loudness, colour)
    is_accent = (every % per_bar == first) if per_bar else np.zeros(len(every), bool)
    period_s, error_s = _constant_period(counts, times)
    return ClickTrack(
        clicks_s=filled_s if period_s is None else _on_line(counts, times, every),
        is_accent=is_accent,
        period_s=period_s,
        period_error_s=error_s,
        scatter_s=scatter_s,
        clicks_per_bar=per_bar,
        clicks_per_beat=_clicks_per_beat(per_bar, filled_s),
        accent_confidence=confidence,
        missing=tuple((float(times[index]), float(times[index + 1])) for index in np.flatnonzero(np.diff(counts) > 1)),
    )


def _events(features: Features) -> Doubles:
    """Onset times when the file holds sharp sounds out of silence and next to nothing else; else none."""
    sharp, fine = features.sharp, features.fine
    nothing = np.zeros(0)
    if len(sharp.times_s) < _LEAST_CLICKS:
        return nothing
    loud = sharp.peak > 0.12 * np.quantile(sharp.peak, 0.9)
    times = sharp.times_s[loud]
    times = times[np.concatenate([[True], np.diff(times) > _FASTEST_S / 2])] if len(times) else times
    if len(times) < _LEAST_CLICKS:
        return nothing
    attacks = fine.times_s[(fine.band == 0) & (fine.strength > 0.35)]
    nearest = np.abs(attacks[:, None] - times[None, :]).min(axis=1) if len(attacks) else np.zeros(0)
    if len(attacks) and (nearest > 0.03).mean() > _MOST_OTHER_SHARE:
        return nothing
    return times


def _numbered(times: Doubles) -> tuple[Doubles, Indices, float] | None:
    """The clicks, their numbers on the pulse, and their scatter around it; None when they keep no pulse."""
    counted = _count(times) if len(times) >= _LEAST_CLICKS else None
    if counted is None:
        return None
    counts, scatter_s = counted
    is_kept = scatter_s <= _MOST_SCATTER_S and len(times) >= _LEAST_PRESENT * (counts[-1] + 1)
    return (times, counts, scatter_s) if is_kept else None


def _count(times: Doubles) -> tuple[Indices, float] | None:
    """Number the clicks on their pulse; None when the gaps are no multiples of it. Also the scatter around it."""
    gaps = np.diff(times)
    pulse = float(np.median(gaps))
    if not _FASTEST_S <= pulse <= _SLOWEST_S:
        return None
    steps: list[int] = []
    local = pulse
    for gap in gaps:
        step = max(1, round(gap / local))
        if abs(gap / step / local - 1) > 0.15:
            return None
        local = 0.5 * local + 0.5 * gap / step
        steps.append(step)
    counts = np.concatenate([[0], np.cumsum(steps)]).astype(np.intp)
    return counts, _scatter(counts, times)


def _scatter(counts: Indices, times: Doubles) -> float:
    """Median distance of each click from the line through its four neighbours (its two when there are few)."""
    reach = 2 if len(times) >= 8 else 1
    left: list[float] = []
    for index in range(reach, len(times) - reach):
        around = [index + shift for shift in range(-reach, reach + 1) if shift]
        place = (counts[around] - counts[index]).astype(float)
        order = 2 if reach == 2 else 1
        line = np.polynomial.polynomial.polyfit(place, times[around], order)
        left.append(abs(float(times[index] - line[0])))
    return float(np.quantile(left, 0.6))


def _sounds(features: Features, times: Doubles) -> tuple[Doubles, Doubles]:
    """Loudness in dB and spectral balance in dB (highs against lows) of each click."""
    power = 10 ** (features.band_energy_db.astype(np.float64) / 10)
    start = np.clip(np.rint(times * features.band_rate_hz).astype(np.intp), 0, max(0, len(power) - 3))
    last = len(power) - 1
    summed = power[start] + power[np.minimum(start + 1, last)] + power[np.minimum(start + 2, last)]
    loudness = 10 * np.log10(summed.sum(axis=1) + 1e-12)
    centre = (summed * np.arange(summed.shape[1])).sum(axis=1) / (summed.sum(axis=1) + 1e-12)
    return loudness, 6 * centre


def _changes_its_notes(features: Features, times: Doubles) -> bool:
    """Whether the sounds are of many notes, as a part of evenly cut chords is: a click has one sound, or two or three.

    Of 126 clicks of all kinds (bells, noise, bursts) each is covered by two kinds; a guitar's stabs by three to .62.
    """
    if not len(features.chroma):
        return False
    at = np.rint((times + _RINGS_AFTER_S) * features.harmony_rate_hz).astype(np.intp)
    rows = features.chroma[np.clip(at, 0, len(features.chroma) - 1)].astype(np.float64)
    length = np.linalg.norm(rows, axis=1)
    rows = rows[length > 0] / length[length > 0, None]
    left, covered = rows, 0
    for _ in range(_MOST_KINDS):
        if not len(left):
            break
        alike = left @ left.T > _SAME_NOTES
        kind = alike[int(alike.sum(axis=1).argmax())]
        covered += int(kind.sum())
        left = left[~kind]
    return bool(len(rows)) and covered < _LEAST_COVERED * len(rows)


def _accents(counts: Indices, loudness: Doubles, colour: Doubles) -> tuple[int | None, int, float]:
    """Clicks per bar, the first accent's place, and how sure: the click that stands out at an even distance."""
    best: tuple[float, int, int] = (0.0, 0, 0)
    for sound in (loudness, colour):
        spread = float(sound.std())
        if spread < _ACCENT_DB / 4:
            continue
        for per_bar in _BEATS_OF_BAR:
            if counts[-1] + 1 < 2 * per_bar:
                continue
            for first in range(per_bar):
                accent = counts % per_bar == first
                if not accent.any() or accent.all():
                    continue
                apart = abs(float(np.median(sound[accent]) - np.median(sound[~accent])))
                noise = float(np.median(np.abs(sound[accent] - np.median(sound[accent]))))
                noise = max(noise, float(np.median(np.abs(sound[~accent] - np.median(sound[~accent])))), 0.25)
                centre = np.where(accent, np.median(sound[accent]), np.median(sound[~accent]))
                explained = 1 - float(((sound - centre) ** 2).sum()) / float(((sound - sound.mean()) ** 2).sum())
                if apart > max(_ACCENT_DB, 3 * noise) and explained > best[0] + 0.02:
                    best = (explained, per_bar, first)
    explained, per_bar, first = best
    return (per_bar, first, explained) if explained > 0.5 else (None, 0, 0.0)


def _clicks_per_beat(per_bar: int | None, clicks_s: Doubles) -> int:
    pulse = float(np.median(np.diff(clicks_s)))
    if per_bar == 2 and pulse < 0.33:
        return 2
    return _SUBDIVIDED.get(per_bar or 0, 1) if pulse < 0.5 else 1


def _constant_period(counts: Indices, times: Doubles) -> tuple[float | None, float]:
    """The period of the line through all clicks and its standard error, when no click leaves that line."""
    across = counts - counts.mean()
    period = float((across * (times - times.mean())).sum() / (across**2).sum())
    left = times - times.mean() - period * across
    if np.quantile(np.abs(left), 0.95) > max(_CONSTANT_S, 3 * _MOST_SCATTER_S if len(times) < 8 else 0):
        return None, 0.0
    error = float(left.std() / np.sqrt((across**2).sum()))
    return period, max(error, 1e-9)


def _on_line(counts: Indices, times: Doubles, every: Indices) -> Doubles:
    across = counts - counts.mean()
    period = float((across * (times - times.mean())).sum() / (across**2).sum())
    line: Doubles = np.median(times - period * counts) + period * every
    return line
