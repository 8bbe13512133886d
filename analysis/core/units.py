"""Conversions between the units that names in this package end in."""

from __future__ import annotations

import math
from typing import SupportsFloat

# Below this amplitude a level has no meaning: 32-bit float rounding of a full-scale signal sits near 3e-8
# (house choice).
_SMALLEST_AMPLITUDE = 1e-10
# How exactly a tempo is written (house choices): on a page and in a file's name; on a chart, which is played from; in a
# cue sheet, from which somebody types it into their session.
TEMPO_DECIMALS, CHART_TEMPO_DECIMALS, CUE_SHEET_TEMPO_DECIMALS = 3, 2, 5


def dbfs_from_amplitude(amplitude: float) -> float | None:
    """Level re full scale = 1.0 peak. None for silence: minus infinity is not a number that travels."""
    return 20.0 * math.log10(amplitude) if amplitude > _SMALLEST_AMPLITUDE else None


def amplitude_from_db(level_db: float) -> float:
    return float(10.0 ** (level_db / 20.0))


def seconds_as_clock(time_s: float) -> str:
    """1:07 or 1:02:07, as players say it; tenths only in the first ten seconds, where they matter."""
    if time_s < 10.0:
        return f"0:{time_s:04.1f}"
    minutes, seconds = divmod(round(time_s), 60)
    hours, minutes = divmod(minutes, 60)
    return f"{hours}:{minutes:02d}:{seconds:02d}" if hours else f"{minutes}:{seconds:02d}"


def in_figures(value: SupportsFloat, most_decimals: int) -> str:
    """Rounded, without zeros that say nothing: 112, 91.67, 0.5."""
    text = f"{float(value):.{most_decimals}f}"
    text = text.rstrip("0").rstrip(".") if "." in text else text
    return "0" if text == "-0" else text


def tempo_in_figures(bpm: SupportsFloat, most_decimals: int = TEMPO_DECIMALS) -> str:
    """As a page writes it; a chart and a cue sheet say how many decimals they have."""
    return in_figures(bpm, most_decimals)


def tempo_in_words(bpm: str, beat: str = "") -> str:
    """With the note that is counted wherever that is not the quarter: "112 bpm", "70 bpm (dotted quarter)". `beat` is
    the note's name; empty where nobody said."""
    return f"{bpm} bpm" if beat in ("", "quarter") else f"{bpm} bpm ({beat})"
