"""Where each drum voice is written: places and heads as drum-set writing commonly has them, on five lines.

Kick, snare, hat and ride as in the survey of drum-set notation that the Percussive Arts Society took up (Weinberg
1994); the toms and the foot from common practice. It is a recommendation, so a chart with written drums prints its key.
MusicXML states places as in a treble clef; `midi` is the General MIDI key, to which MusicXML adds one.

Tested by tests/analysis/engraving/test_musicxml.py.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Place:
    """`loc` counts lines and spaces from the bottom line, 0 (MEI `@loc`)."""

    step: str
    octave: int
    loc: int
    midi: int
    head: str = "normal"
    feet: bool = False
    sign: str = ""  # above the note


PLACES = {
    "kick": Place("F", 4, 1, 36, feet=True),
    "floor tom": Place("A", 4, 3, 43),
    "snare": Place("C", 5, 5, 38),
    "side stick": Place("C", 5, 5, 37, head="x"),
    "low tom": Place("D", 5, 6, 45),
    "high tom": Place("E", 5, 7, 50),
    "ride": Place("F", 5, 8, 51, head="x"),
    "hat": Place("G", 5, 9, 42, head="x"),
    "open hat": Place("G", 5, 9, 46, head="x", sign="open"),
    "crash": Place("A", 5, 10, 49, head="x"),
    "hat foot": Place("D", 4, -1, 44, head="x", feet=True),
}
# Slashes and rhythms for the whole kit lie on the middle line.
MIDDLE_LOC = 4
