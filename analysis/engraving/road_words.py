"""Signs that are words: jumps and fills, the same on the page and in every file.

Tested by tests/analysis/engraving/test_musicxml.py.
"""

from __future__ import annotations

from fractions import Fraction

from analysis.chart.beats import counted
from analysis.chart.document import CODA, FINE, SEGNO, Bar, Jump, Span


def jump_words(jump: Jump) -> str:
    words = "D.S." if jump.to == SEGNO else "D.C."
    words += {CODA: " al Coda", FINE: " al Fine"}.get(jump.until, "")
    return f"{words} with repeats" if jump.repeats else words


def fill_words(fill: Span, bar: Bar) -> str:
    """ "fill" over a whole bar, else with its beats."""
    last = fill.beat + fill.beats
    if fill.beat == 1 and last >= bar.meter.upper + 1:
        return "fill"
    ends = last - 1 if fill.beats >= 1 and last.denominator == 1 else last - Fraction(1, 2)
    begins = f"fill {counted(fill.beat, bar.meter)}"
    return f"{begins}–{counted(ends, bar.meter)}" if ends > fill.beat else begins
