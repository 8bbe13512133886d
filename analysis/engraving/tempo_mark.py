"""A tempo as it is printed: the note of the beat that is felt, and how many of them a minute has.

Tested by tests/analysis/engraving/test_pages.py.
"""

from __future__ import annotations

from fractions import Fraction

from analysis.chart.document import Tempo
from analysis.core.units import CHART_TEMPO_DECIMALS, tempo_in_figures
from analysis.engraving.drawn import Label, Piece, Sign
from analysis.engraving.fonts import BOLD, sign_box
from analysis.maps.tempo_map import MeterSign

# SMuFL's notes for metronome marks, by the part of a whole note.
_NOTES = {1: "ECA2", 2: "ECA3", 4: "ECA5", 8: "ECA7", 16: "ECA9", 32: "ECAB"}
_DOT = "ECB7"


def beat_note(meter: MeterSign) -> tuple[int, bool]:
    """The note of the felt beat, as the part of a whole note, and whether it is dotted."""
    return (meter.lower // 2, True) if meter.is_compound else (meter.lower, False)


def bpm_text(bpm: Fraction) -> str:
    """As many decimals as a person can use: 112, 91.7, 33.33."""
    return tempo_in_figures(bpm, CHART_TEMPO_DECIMALS)


def tempo_mark(tempo: Tempo, meter: MeterSign, x: float, size: float, bar: int | None = None) -> list[Piece]:
    """From `x` on, on the base line 0."""
    part, dotted = beat_note(meter)
    em = 1.7 * size
    note = Sign(_NOTES[part], x, 0.0, em, bar)
    x += sign_box(note.code).right * em
    pieces: list[Piece] = [note]
    if dotted:
        pieces.append(Sign(_DOT, x + 0.1 * em, 0.0, em, bar))
        x += 0.1 * em + sign_box(_DOT).right * em
    return [*pieces, Label(f"= {bpm_text(tempo.bpm)}", x + 0.3 * size, 0.0, size, BOLD, "tempo", bar)]
