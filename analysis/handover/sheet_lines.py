"""A delivery's sheet in words, shared by its page, its PDF and its plain text."""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from analysis.core.units import tempo_in_words
from analysis.delivery.check_results import Check
from analysis.maps.tempo_map import Segment, TempoMap

_CHANNEL_WORDS = {1: "mono", 2: "stereo"}
_HYPHEN_OF_FIGURE = re.compile(r"(?<![\w.)])-(?=\d)")
_STRAIGHT_APOSTROPHE = re.compile(r"(?<=\w)'(?=\w)")


# What is not sound at all comes first, then what a mix would be wrong with; what is in the way of nothing, last.
_FIRST = (
    *("stored-intact", "not-empty", "readable", "whole", "sounding", "arrival", "polarity", "edits", "dropouts"),
    *("gaps", "bad-values", "clipped", "same-take", "lined-up", "speed", "break", "drift"),
)
_LAST = ("bits", "time-reference", "distinct-name", "safe-name")


@dataclass(frozen=True)
class PassedRow:
    """All passed checks of one kind: their code, their sentences, their figures."""

    code: str
    words: str
    figure: str


def in_print(text: str, names: Iterable[str] = ()) -> str:
    """A sentence of a check as it is printed: with the apostrophe and the minus of print (U+2019, U+2212).

    Data keeps the keyboard's signs, and the files of these `names` keep theirs.
    """
    kept = "|".join(re.escape(name) for name in sorted(names, key=len, reverse=True) if name)
    parts = re.split(f"({kept})", text) if kept else [text]
    return "".join(part if number % 2 else _printed(part) for number, part in enumerate(parts))


def rank_of(code: str) -> int:
    """Where a failed check stands in a list, by its code: the gravest first."""
    if code in _FIRST:
        return _FIRST.index(code)
    return len(_FIRST) + 1 + (_LAST.index(code) if code in _LAST else -1)


def moment_in_words(at: str) -> str:
    """A sheet's time as it is printed: "25 November 2026, 09:00 UTC"; empty for none."""
    return f"{dt.datetime.fromisoformat(at).astimezone(dt.UTC):%-d %B %Y, %H:%M} UTC" if at else ""


def _printed(text: str) -> str:
    return _STRAIGHT_APOSTROPHE.sub("\N{RIGHT SINGLE QUOTATION MARK}", _HYPHEN_OF_FIGURE.sub("\N{MINUS SIGN}", text))


def passed_rows(checks: Sequence[Check], names: Sequence[str]) -> list[PassedRow]:
    """What passed, a row for each kind, in the checks' order; `names`: the files of the set.

    What holds for several files in the same words is said once for them; no figure is left out.
    """
    kinds: dict[str, list[Check]] = {}
    for check in checks:
        if check.passed and not check.undecided:
            kinds.setdefault(check.code, []).append(check)
    return [_passed_row(code, found, names) for code, found in kinds.items()]


def _passed_row(code: str, checks: Sequence[Check], names: Sequence[str]) -> PassedRow:
    by_words: dict[str, list[str]] = {}
    for check in checks:
        rest = _without_name(check)
        by_words.setdefault(rest or check.message, []).append(check.file or "" if rest else "")
    figures = dict.fromkeys(figure_of(check) for check in checks)
    if len(figures) > 1:
        figures = {f"{check.file} {figure_of(check)}".strip(): None for check in checks if figure_of(check)}
    said = " ".join(_said_of(files, words, names) for words, files in by_words.items())
    return PassedRow(code, in_print(said, names), ", ".join(figures))


def _without_name(check: Check) -> str:
    """What a sentence says of the file with which it begins; empty where it begins otherwise."""
    for name in (f"{check.file} ", f"“{check.file}” "):
        if check.message.startswith(name):
            return check.message.removeprefix(name)
    return ""


def _said_of(files: Sequence[str], words: str, names: Sequence[str]) -> str:
    if not files[0]:
        return words
    if len(files) == 1:
        return f"{files[0]} {words}"
    whom = f"the {len(files)} tracks" if set(files) == set(names) else ", ".join(files)
    return f"Each of {whom} {words}"


def tempo_lines(tempo_map: TempoMap, rates_hz: Iterable[int]) -> list[str]:
    """Each stretch of the map, and the frame of bar one at each rate."""
    lines = [
        f"from bar {segment.bar}, at {float(segment.time_s):.6f} s: {_pace(segment)}" for segment in tempo_map.segments
    ]
    for rate_hz in sorted(rates_hz):
        frame = tempo_map.frame_of_bar(1, rate_hz)
        lines.append(f"bar one at {float(tempo_map.bar_one_s):.6f} s: frame {frame} at {rate_hz} Hz, counted from 0")
    return [in_print(line) for line in lines]


def _pace(segment: Segment) -> str:
    """A free passage has bars, and a tempo only to lead through them: a programme needs it, nobody keeps it."""
    pace = f"{tempo_in_words(f'{float(segment.bpm):.5f}', segment.meter.beat_name)} in {segment.meter}"
    return f"free (counted at {pace})" if segment.free else pace


def channel_words(channels: int | None) -> str:
    return _CHANNEL_WORDS.get(channels or 0, f"{channels} channels") if channels else ""


def figure_of(check: Check) -> str:
    """What was measured, with its interval: "480 (479.5 to 480.5)"; empty where the sentence says it all."""
    value = check.value
    if isinstance(value, bool) or not isinstance(value, (int, float)):
        return ""
    if check.low is None or check.high is None:
        return in_print(f"{round(value, 2) + 0.0:g}" if isinstance(value, float) else str(value))
    value, low, high = (number + 0.0 for number in (value, check.low, check.high))  # -0.0 is 0
    return in_print(f"{value:g} ({low:g} to {high:g})")
