"""How right one answer is: tempo, beats, bar lines, bar one and meter against the truth."""

from __future__ import annotations

import warnings
from dataclasses import dataclass
from fractions import Fraction
from typing import Any

import mir_eval
import numpy as np

from bench.tempo.known import Known

# House choices: a click this close stays within 43 ms of the music over four minutes at 112; what drummers notice.
TEMPO_BPM = 0.02
LISTED_SHARE = 0.01
# By column. Source of 4 %: Gouyon et al. 2006, accuracy 1 and (with levels) 2; from memory
SHARE_WINDOWS = {"4%": 0.04, "1%": 0.01}
BPM_WINDOWS = {"<.1": 0.1, "<.02": TEMPO_BPM}
SLACK = 1e-9  # windows include their borders, which binary floats miss
SURE = 0.95
BARS_RIGHT_F = 0.85
BEAT_WINDOW_S = 0.07  # Source: Davies, Degara and Plumbley 2009, as in mir_eval
TIGHT_WINDOW_S = 0.02
BAR_ONE_TIGHT_S = 0.01
LEVELS = (1, 2, Fraction(1, 2), 3, Fraction(1, 3))
LAG_ASKED_FROM_F = 0.8
TIGHT_ASKED_FROM_F = 0.9


@dataclass(frozen=True)
class Reading:
    """What a tool says of a song; None where it says nothing."""

    bpm: float | None
    beats_s: tuple[float, ...]
    downbeats_s: tuple[float, ...] | None = None
    bar_one_s: float | None = None
    meter: str | None = None
    kind: str | None = None
    offered_bpm: tuple[float, ...] = ()
    interval_bpm: tuple[float, float] | None = None
    confidences: tuple[float, float, float] | None = None  # of tempo, meter, bar one
    findings: tuple[str, ...] | None = None
    are_clicks: tuple[bool, ...] | None = None

    @property
    def confidence(self) -> float | None:
        return min(self.confidences) if self.confidences else None


Scores = dict[str, float]


def score(known: Known, reading: Reading) -> Scores:
    """Shares and F-measures, 0 to 1, and milliseconds. A key is absent where the question makes no sense."""
    if known.kind == "rubato":
        return {} if reading.kind is None else {"kind": float(reading.kind != "constant")}
    scores: dict[str, Any] = _tempo_scores(known, reading) if known.is_constant else {}
    ratio = (reading.bpm or 0.0) / known.bpm
    if known.beats_s and (not known.level_is_free or abs(ratio - 1) < TIGHT_WINDOW_S):
        scores |= _beat_scores(known, reading)
    if reading.kind is not None:
        scores |= _kind_and_meter(known, reading)
    if reading.confidence is not None and "barF" in scores and not known.is_only_click:
        scores["sure"] = reading.confidence >= SURE
        if scores["sure"]:
            scores["right"] = scores["barF"] >= BARS_RIGHT_F
    if reading.findings is not None and known.due_findings is not None:
        asked = {"start-differs", "click-differs"}
        scores["found"] = asked & set(reading.findings) == known.due_findings
    return {name: float(value) for name, value in scores.items()}


def _tempo_scores(known: Known, reading: Reading) -> dict[str, Any]:
    bpm, felt = reading.bpm or 0.0, known.felt_levels
    levels = {*felt, *(float(level) for level in LEVELS)}
    scores: dict[str, Any] = {}
    for name, window in (*SHARE_WINDOWS.items(), *BPM_WINDOWS.items()):
        allowed_bpm = (window * known.bpm if name in SHARE_WINDOWS else window) + SLACK
        scores[name] = any(abs(bpm / level - known.bpm) <= allowed_bpm for level in felt)
        scores[f"{name.lstrip('<')}lvl"] = any(abs(bpm / level - known.bpm) <= allowed_bpm for level in levels)
    line_bpm = bpm_of_line(reading.beats_s) or 0.0
    scores["line"] = any(abs(line_bpm / level - known.bpm) <= TEMPO_BPM + SLACK for level in levels)
    if reading.offered_bpm:
        offers = [offer / level / known.bpm for offer in reading.offered_bpm for level in felt]
        scores["listed"] = any(abs(offer - 1) <= LISTED_SHARE for offer in offers)
    if reading.interval_bpm and reading.kind == "constant":
        low, high = reading.interval_bpm
        nearest = min(levels, key=lambda level: abs(bpm / level - known.bpm))
        if abs(bpm / nearest / known.bpm - 1) <= LISTED_SHARE:
            scores["inside"] = low - SLACK <= known.bpm * nearest <= high + SLACK
    return scores


def bpm_of_line(beats_s: tuple[float, ...]) -> float | None:
    """The tempo of a straight line through the beats, missed ones counted: the best that a tracker's beats can say."""
    steps_s = np.diff(beats_s)
    if len(steps_s) < 2:
        return None
    numbers = np.concatenate([[0], np.cumsum(np.round(steps_s / np.median(steps_s)))])
    period_s = np.polyfit(numbers, beats_s, 1)[0] if numbers[-1] else 0.0
    return float(60 / period_s) if period_s > 0 else None


def _beat_scores(known: Known, reading: Reading) -> dict[str, Any]:
    """A click that is off the music by a constant makes two readings right: the music's and the click's."""
    assert known.beats_s
    readings = {late: _moved(known.beats_s, late) for late in (0.0, known.click_late_s)}
    late_s = max(readings, key=lambda late: f_measure(readings[late], reading.beats_s, TIGHT_WINDOW_S))
    beats_s = readings[late_s]
    scores: dict[str, Any] = {"F70": f_measure(beats_s, reading.beats_s, BEAT_WINDOW_S)}
    if not known.is_loose:
        scores["F20"] = f_measure(beats_s, reading.beats_s, TIGHT_WINDOW_S)
    if scores["F70"] > LAG_ASKED_FROM_F:
        scores["lag ms"] = lag_ms(beats_s, reading.beats_s)
    if reading.downbeats_s is not None and known.downbeats_s:
        scores["barF"] = f_measure(_moved(known.downbeats_s, late_s), reading.downbeats_s, BEAT_WINDOW_S)
    if reading.kind is not None and known.bar_one_s is not None:
        off_s = abs((reading.bar_one_s if reading.bar_one_s is not None else np.inf) - known.bar_one_s - late_s)
        scores["bar1"] = off_s <= BEAT_WINDOW_S
        if scores.get("F20", 0) > TIGHT_ASKED_FROM_F:
            scores["bar1'"] = off_s <= BAR_ONE_TIGHT_S
    return scores


def _moved(times_s: tuple[float, ...], late_s: float) -> tuple[float, ...]:
    return tuple(time + late_s for time in times_s)


def f_measure(truth_s: tuple[float, ...], found_s: tuple[float, ...] | None, window_s: float) -> float:
    """As mir_eval defines it, inside the stretch that the truth covers, its start not trimmed."""
    found = np.array([time for time in found_s or () if truth_s[0] - 0.07 < time < truth_s[-1] + 0.07])
    if not len(found):
        return 0.0
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        return float(mir_eval.beat.f_measure(np.array(truth_s), found, window_s))


def lag_ms(truth_s: tuple[float, ...], found_s: tuple[float, ...]) -> float:
    """How late the found beats are, in the middle."""
    apart = np.subtract.outer(np.array(found_s), np.array(truth_s))
    nearest = apart[np.arange(len(found_s)), np.abs(apart).argmin(axis=1)]
    return float(1000 * np.median(nearest[np.abs(nearest) < BEAT_WINDOW_S]))


def _kind_and_meter(known: Known, reading: Reading) -> dict[str, Any]:
    scores: dict[str, Any] = {}
    if known.meter:
        scores["meter"] = reading.meter is not None and int(reading.meter.split("/")[0]) in beats_per_bar(known.meter)
    if known.is_constant or known.kind != "constant":  # a short bar at one tempo may be called either
        scores["kind"] = reading.kind == ("constant" if known.is_constant else "map")
    return scores


def beats_per_bar(meter: str) -> tuple[int, ...]:
    """What counts as this meter: 6/8 may be counted in six or in two."""
    upper, lower = map(int, meter.split("/"))
    return (upper, upper // 3) if lower == 8 and upper % 3 == 0 else (upper,)
