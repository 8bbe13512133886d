"""What is wrong with an answer, in words a person can act on."""

from __future__ import annotations

from fractions import Fraction

import numpy as np

from bench.tempo.known import Known
from bench.tempo.scores import LISTED_SHARE, TEMPO_BPM, Reading, Scores

RATIOS = tuple(Fraction(text) for text in ("2", "1/2", "3", "1/3", "3/2", "2/3", "4/3", "3/4", "4", "1/4"))
RIGHT_F = 0.9
SAME_PLACE_BEATS = 0.12


def what_is_wrong(known: Known, reading: Reading, scores: Scores) -> list[str]:
    """One part for each fault, the gravest first; empty where nothing is wrong."""
    return [
        *_tempo_faults(known, reading, scores),
        *([f"{known.kind} called {reading.kind}"] if scores.get("kind") == 0 else []),
        *([f"{known.meter} read as {reading.meter or 'nothing'}"] if scores.get("meter") == 0 else []),
        *_beat_faults(known, reading, scores),
        *_bar_faults(known, reading, scores),
        *_finding_faults(known, reading),
    ]


def _tempo_faults(known: Known, reading: Reading, scores: Scores) -> list[str]:
    if scores.get("<.02", 1):
        return []
    if not reading.bpm:
        return ["no tempo"]
    listed = ", the true one offered" if scores.get("listed") else ", the true one not offered"
    ratio = reading.bpm / known.bpm
    if abs(ratio - 1) <= LISTED_SHARE:
        off = reading.bpm - known.bpm
        return [
            f"{reading.bpm:.3f} for {known.bpm:g} ({off:+.3f} BPM, {abs(off) / known.bpm * 60_000:.0f} ms a minute)"
        ]
    for level in RATIOS:
        if abs(ratio / level - 1) <= LISTED_SHARE:
            off = reading.bpm / float(level) - known.bpm
            exact = "" if abs(off) <= TEMPO_BPM else f", and {off:+.3f} BPM off that"
            return [f"level x{level} ({reading.bpm:g} for {known.bpm:g}){exact}{listed}"]
    return [f"tempo {reading.bpm:g} for {known.bpm:g}, no simple ratio{listed}"]


def _beat_faults(known: Known, reading: Reading, scores: Scores) -> list[str]:
    if known.beats_s is None or min(scores.get("F20", 1), scores.get("F70", 1)) >= RIGHT_F:
        return []
    if scores["F70"] >= RIGHT_F:
        return [f"beats {scores['lag ms']:+.0f} ms in the middle (F20 {scores['F20']:.2f})"]
    places = place_in_beats(known.beats_s, reading.beats_s)
    if len(places) and np.mean(np.abs(places % 1 - 0.5) < SAME_PLACE_BEATS) > RIGHT_F:
        return ["half a beat off"]
    return [f"beats right in part (F70 {scores['F70']:.2f})"]


def place_in_beats(
    beats_s: tuple[float, ...], times_s: tuple[float, ...]
) -> np.ndarray[tuple[int], np.dtype[np.float64]]:
    """Where times fall, counted in true beats from the first one; only those inside."""
    inside = [time for time in times_s if beats_s[0] - 0.07 <= time <= beats_s[-1] + 0.07]
    return np.asarray(np.interp(inside, beats_s, np.arange(len(beats_s))), np.float64)


def _bar_faults(known: Known, reading: Reading, scores: Scores) -> list[str]:
    faults = []
    if scores.get("barF", 1) < RIGHT_F and known.beats_s and known.downbeats_s:
        faults.append(_bar_phase(known.beats_s, known.downbeats_s, reading.downbeats_s or (), scores["barF"]))
    if known.bar_one_s is None or reading.bar_one_s is None:
        return faults
    off_s = reading.bar_one_s - known.bar_one_s
    if scores.get("bar1") == 0:
        faults.append(f"bar one {off_s * known.bpm / 60:+.2f} beats ({off_s:+.3f} s)")
    elif scores.get("bar1'") == 0:
        faults.append(f"bar one {off_s * 1000:+.0f} ms")
    return faults


def _bar_phase(
    beats_s: tuple[float, ...], downbeats_s: tuple[float, ...], found_s: tuple[float, ...], bars_f: float
) -> str:
    """How many true beats after a true bar line the found ones fall, if most agree."""
    found, true = place_in_beats(beats_s, found_s), place_in_beats(beats_s, downbeats_s)
    if not len(found) or len(true) < 2:
        return "no bar lines"
    later = found - true[np.clip(np.searchsorted(true, found + SAME_PLACE_BEATS) - 1, 0, None)]
    middle = float(np.median(later))
    if np.mean(np.abs(later - middle) < SAME_PLACE_BEATS) > RIGHT_F and abs(middle) >= SAME_PLACE_BEATS:
        return f"bars begin {middle:g} beats late" if middle % 1 == 0 else f"bars begin {middle:.1f} beats late"
    return f"bars right in part (F {bars_f:.2f})"


def _finding_faults(known: Known, reading: Reading) -> list[str]:
    faults = []
    if known.due_findings is not None and reading.findings is not None:
        given = {"start-differs", "click-differs"} & set(reading.findings)
        faults += [f"{code} missed" for code in sorted(known.due_findings - given)]
        faults += [f"{code} without cause" for code in sorted(given - known.due_findings)]
    for is_click, says in zip(known.are_clicks, reading.are_clicks or (), strict=False):
        if is_click != says:
            faults.append("click not recognised" if is_click else "taken for a click")
    return faults
