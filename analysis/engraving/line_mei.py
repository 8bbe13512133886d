"""The MEI of one line, staff only: what the engraver is given. No word of a person's is in it.

Tested by tests/analysis/engraving/test_mei.py.
"""

from __future__ import annotations

from collections.abc import Sequence
from xml.etree import ElementTree as ET

from analysis.chart.document import DRUMS, Bar
from analysis.engraving.layers import FEET
from analysis.engraving.lines import Cell, Line
from analysis.engraving.mei import element, hits_apart, measure, multi_rest, scaffold, score_def, text_of
from analysis.engraving.percussion import PLACES
from analysis.maps.tempo_map import MeterSign

SINGLE, DOUBLE, FINAL = "single", "dbl", "end"


def line_mei(line: Line, before: MeterSign | None) -> str:
    """`before` is the meter of the bar before the line: a meter is printed where it changes."""
    meter = line.cells[0].bar.meter
    # With a break given, the engraver makes none of its own.
    section = element("section", element("sb"))
    last_meter = meter
    apart = hits_apart((cell.bar, cell.layers) for cell in line.cells)
    for index, cell in enumerate(line.cells):
        if cell.bar.meter != last_meter:
            last_meter = cell.bar.meter
            section.append(element("scoreDef", meter_count=str(last_meter.upper), meter_unit=str(last_meter.lower)))
        section.append(cell_mei(cell, right=_bar_line(line, index), apart=apart))
    score = element("score", score_def(meter, shows_meter=meter != before, apart=apart), section)
    return text_of(scaffold(score, ""))


def cell_mei(cell: Cell, *, right: str, apart: bool) -> ET.Element:
    if len(cell.bars) > 1:
        return multi_rest(cell.number, cell.bars, right=right, apart=apart)
    return measure(cell.number, cell.bar, cell.layers, right=right, apart=apart)


def _bar_line(line: Line, index: int) -> str:
    road = line.cells[index].bars[-1].road
    last = index == len(line.cells) - 1
    if road.fine or (last and line.ends_chart):
        return FINAL
    return DOUBLE if road.jump or (last and line.ends_section) else SINGLE


def voices_of(bars: Sequence[Bar]) -> list[str]:
    """The drum voices that a chart writes, from the top of the staff down."""
    used = {note.voice for bar in bars if bar.shows == DRUMS for note in bar.notes}
    return sorted(used, key=lambda voice: (-PLACES[voice].loc, voice))


def key_mei(voices: Sequence[str]) -> str:
    """One note of each voice, for the key at the foot of a chart. Ids are those of a bar 0."""
    layer = element("layer", n="1")
    for place, voice in enumerate(voices):
        where = PLACES[voice]
        note = element("note", loc=str(where.loc))
        if where.head != "normal":
            note.set("head.shape", where.head)
        direction = "down" if where.feet else "up"
        chord = element("chord", note, dur="4", stem_dir=direction, id=f"e-0-{FEET}-{place}-1")
        if where.sign:
            chord.append(element("artic", artic=where.sign, place="above"))
        layer.append(chord)
    bar = element("measure", element("staff", layer, n="1"), n="0", id="bar-0", right="invis")
    score = element(
        "score", score_def(MeterSign(len(voices), 4), shows_meter=False), element("section", element("sb"), bar)
    )
    return text_of(scaffold(score, ""))
