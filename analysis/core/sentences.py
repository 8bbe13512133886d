"""Fills the sentences of findings: the unit at the end of a value's name says how people write it."""

from __future__ import annotations

import string
from collections.abc import Callable, Mapping
from typing import Any

from analysis.core.reports import Place
from analysis.core.units import in_figures, seconds_as_clock, tempo_in_figures, tempo_in_words


def fill(sentence: str, *, file: str | None, place: Place, value: dict[str, Any]) -> str:
    """Raises KeyError when the sentence names a value that is not there: a bug in whoever made the finding."""
    words = {name: written(name, item, beat=beat_of(name, value)) for name, item in value.items()}
    words |= {"file": f"“{file}”" if file else "the file", "place": place_words(place)}
    text = string.Formatter().vformat(sentence, (), words)
    return text[:1].upper() + text[1:]


def place_words(place: Place) -> str:
    """In bars as soon as there is a grid, with the time as the small print."""
    if place.bar is not None:
        beat = f" beat {in_figures(place.beat, 3)}" if place.beat is not None else ""
        time = f" ({seconds_as_clock(place.time_s)})" if place.time_s is not None else ""
        return f"at bar {place.bar}{beat}{time}"
    return f"at {seconds_as_clock(place.time_s)}" if place.time_s is not None else "somewhere"


def beat_of(name: str, value: Mapping[str, Any]) -> str:
    """The note that a tempo among the values counts: of `measured_bpm` it is `measured_beat`, where that is given."""
    return str(value.get(f"{name.removesuffix('_bpm')}_beat", "")) if name.endswith("_bpm") else ""


def written(name: str, value: Any, *, beat: str = "") -> str:
    """One value in words: 3 → "3 places", 48000 (of `..._hz`) → "48 kHz", 0.0123 (of `..._s`) → "0.012 seconds"."""
    if value is None:
        return "unknown"
    if name.endswith("_bpm") and isinstance(value, (int, float)):
        return tempo_in_words(tempo_in_figures(value), beat)
    for suffix, write in _WRITERS.items():
        if (name == suffix.lstrip("_") or name.endswith(suffix)) and isinstance(value, (int, float)):
            return write(value)
    return in_figures(value, 2) if isinstance(value, float) else str(value)


def _counted(value: float, one: str, many: str) -> str:
    return f"one {one}" if value == 1 else f"{in_figures(value, 3)} {many}"


def _seconds(value: float) -> str:
    if value >= 60.0:
        return seconds_as_clock(value)
    return _counted(round(value, 3 if value < 1.0 else 1), "second", "seconds")


def _percent(share: float) -> int:
    """Whole, and 100 only where there is no doubt at all."""
    return 100 if share >= 1.0 else min(99, round(100.0 * share))


_WRITERS: dict[str, Callable[[float], str]] = {
    "_dbfs": lambda value: f"{value:.1f} dBFS",
    "_dbtp": lambda value: f"{value:+.1f} dBTP",
    "_lufs": lambda value: f"{value:.1f} LUFS",
    "_lu": lambda value: f"{value:.1f} LU",
    "_db": lambda value: f"{value:.1f} dB",
    "_hz": lambda value: f"{in_figures(value / 1000.0, 1 if value % 100 == 0 else 2)} kHz",
    "_ms": lambda value: f"{in_figures(value, 1)} ms",
    "_frames": lambda value: _counted(value, "sample", "samples"),
    "_s": _seconds,
    "places": lambda value: _counted(value, "place", "places"),
    "runs": lambda value: _counted(value, "flat peak", "flat peaks"),
    "beats": lambda value: _counted(value, "beat", "beats"),
    "confidence": lambda value: f"{_percent(value)} %",
}
