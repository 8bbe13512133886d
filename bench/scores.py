"""How right one answer is: tempo, beats, bar lines, bar one and meter against the truth."""

from __future__ import annotations

import warnings
from dataclasses import dataclass
from fractions import Fraction
from typing import Any

import mir_eval
import numpy as np

from analysis.band.truth import Truth
from analysis.reports import SongMeasures

# House choices: a click this close stays within 43 ms of the music over four minutes at 112; what drummers notice.
TEMPO_BPM = 0.02
LISTED_SHARE = 0.01
ACCURACY_SHARE = 0.04  # Source: Gouyon et al. 2006, accuracy 1 and (with levels) 2; from memory
SLACK = 1e-9  # windows include their borders, which binary floats miss
SURE = 0.95
BARS_RIGHT_F = 0.85
BEAT_WINDOW_S = 0.07  # Source: Davies, Degara and Plumbley 2009, as in mir_eval
TIGHT_WINDOW_S = 0.02
BAR_ONE_TIGHT_S = 0.01
LEVELS = (1, 2, Fraction(1, 2), 3, Fraction(1, 3))


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
    confidence: float | None = None


def reading_of(song: SongMeasures) -> Reading:
    tempo, meter = song.tempo, song.meter
    others = sorted(tempo.alternatives, key=lambda other: -other.weight)[:4]
    interval = (tempo.bpm_low, tempo.bpm_high) if tempo.bpm_low and tempo.bpm_high else None
    return Reading(
        bpm=tempo.bpm,
        beats_s=song.beats_s,
        downbeats_s=song.downbeats_s,
        bar_one_s=song.bar_one.time_s,
        meter=f"{meter.beats_per_bar}/{meter.beat_unit}" if meter.beats_per_bar else None,
        kind=tempo.kind,
        offered_bpm=(*([tempo.bpm] if tempo.bpm else []), *(other.bpm for other in others)),
        interval_bpm=interval,
        confidence=min(tempo.confidence, meter.confidence, song.bar_one.confidence),
    )


def f_measure(truth_s: tuple[float, ...], found_s: tuple[float, ...] | None, window_s: float) -> float:
    """As mir_eval defines it, inside the stretch that the truth covers, its start not trimmed."""
    found = np.array([time for time in found_s or () if truth_s[0] - 0.07 < time < truth_s[-1] + 0.07])
    if not len(found):
        return 0.0
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        return float(mir_eval.beat.f_measure(np.array(truth_s), found, window_s))


def score(truth: Truth, reading: Reading) -> dict[str, float]:
    """Shares and F-measures, 0 to 1. A key is absent where the question makes no sense for this song or tool."""
    scores: dict[str, Any] = {}
    if truth.kind == "rubato":
        return {} if reading.kind is None else {"kind": float(reading.kind != "constant")}
    if truth.is_constant:
        scores |= _tempo_scores(truth, reading)
    scores["F70"] = f_measure(truth.beats_s, reading.beats_s, BEAT_WINDOW_S)
    scores["F20"] = f_measure(truth.beats_s, reading.beats_s, TIGHT_WINDOW_S)
    if reading.downbeats_s is not None:
        scores["barF"] = f_measure(truth.downbeats_s, reading.downbeats_s, BEAT_WINDOW_S)
    if reading.kind is not None:
        off_s = abs((reading.bar_one_s if reading.bar_one_s is not None else np.inf) - float(truth.bar_one_s))
        scores |= {"bar1": off_s <= BEAT_WINDOW_S, "bar1'": off_s <= BAR_ONE_TIGHT_S}
        scores["meter"] = reading.meter == truth.meter
        if truth.is_constant or truth.kind != "constant":  # a short bar at one tempo may be called either
            scores["kind"] = (reading.kind == "constant") == truth.is_constant
    if reading.confidence is not None:
        scores["sure"] = reading.confidence >= SURE
        if scores["sure"]:
            scores["right"] = scores["barF"] >= BARS_RIGHT_F
    return {name: float(value) for name, value in scores.items()}


def _tempo_scores(truth: Truth, reading: Reading) -> dict[str, Any]:
    true_bpm, bpm = float(truth.bpm), reading.bpm or 0.0
    within = [abs(bpm / float(level) - true_bpm) <= TEMPO_BPM + SLACK for level in LEVELS]
    near = [abs(bpm / float(level) / true_bpm - 1) <= ACCURACY_SHARE + SLACK for level in LEVELS]
    scores: dict[str, Any] = {"<.02": within[0], ".02lvl": any(within), "4%": near[0], "4%lvl": any(near)}
    if reading.offered_bpm:
        scores["listed"] = any(abs(offer / true_bpm - 1) <= LISTED_SHARE for offer in reading.offered_bpm)
    if reading.interval_bpm and within[0]:
        low, high = reading.interval_bpm
        scores["inside"] = low <= true_bpm <= high
    return scores
