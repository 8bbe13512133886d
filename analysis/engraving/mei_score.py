"""A whole chart in MEI 5, to hand out: staves as the engraver reads them, with sections, endings, words and signs.

Tested by tests/analysis/engraving/test_mei.py.
"""

from __future__ import annotations

from collections.abc import Iterator
from fractions import Fraction
from xml.etree import ElementTree as ET

from analysis.chart.document import START, Bar, Chart, Section
from analysis.core.units import in_figures
from analysis.engraving.line_mei import cell_mei
from analysis.engraving.lines import Cell, lines_of
from analysis.engraving.mei import element, hits_apart, scaffold, score_def, text_of
from analysis.engraving.road_words import fill_words, jump_words
from analysis.engraving.tempo_mark import beat_note, bpm_text


def mei_text(chart: Chart) -> str:
    """The same chart gives the same text."""
    meter = chart.bars[0].meter
    lines = lines_of(chart)
    apart = hits_apart((cell.bar, cell.layers) for line in lines for cell in line.cells)
    score = element("score", score_def(meter, shows_meter=True, apart=apart))
    home = element("section")
    for line in lines:
        if line.section:
            home = element("section", label=line.section.name or line.section.letter)
            score.append(home)
        else:
            home.append(element("sb"))
        ending: ET.Element | None = None
        for index, cell in enumerate(line.cells):
            if cell.bar.meter != meter:
                meter = cell.bar.meter
                home.append(element("scoreDef", meter_count=str(meter.upper), meter_unit=str(meter.lower)))
            right = "end" if line.ends_chart and index == len(line.cells) - 1 else "single"
            measure = cell_mei(cell, right=right, apart=apart)
            measure.extend(_words(chart, cell, line.section if index == 0 else None))
            before = line.cells[index - 1].bars[-1] if index else None
            ending = _ending(home, ending, cell, before)
            (home if ending is None else ending).append(measure)
    return text_of(scaffold(score, chart.title, chart.artist))


def _ending(home: ET.Element, now: ET.Element | None, cell: Cell, before: Bar | None) -> ET.Element | None:
    """The bracket that a bar stands under: the one that is open, a new one, or none."""
    passes = cell.bar.road.ending
    if not passes:
        return None
    numbers = ", ".join(str(number) for number in passes)
    goes_on = before is not None and before.road.ending == passes and not before.road.repeat_end
    if now is not None and goes_on:
        return now
    made = element("ending", n=numbers, label=", ".join(f"{number}." for number in passes))
    home.append(made)
    return made


def _words(chart: Chart, cell: Cell, section: Section | None) -> Iterator[ET.Element]:
    bar = cell.bar
    if section and section.letter:
        yield _text("reh", section.letter, tstamp="1")
    if section and section.name:
        yield _text("dir", section.name, tstamp="1", type="section")
    tempo = chart.tempo if cell.number == 1 else bar.tempo
    if tempo:
        part, dotted = beat_note(bar.meter)
        dots = {"mm_dots": "1"} if dotted else {}
        yield element("tempo", tstamp="1", staff="1", mm=bpm_text(tempo.bpm), mm_unit=str(part), **dots)
    yield from _over_beats(bar)
    yield from _road(bar, cell.bars[-1])


def _text(name: str, text: str, **attributes: str) -> ET.Element:
    made = element(name, staff="1", place="above", **attributes)
    made.text = text
    return made


def _over_beats(bar: Bar) -> Iterator[ET.Element]:
    for stop in bar.stops:
        yield _text("dir", "stop", tstamp=_number(stop.beat))
    for fill in bar.fills:
        yield _text("dir", fill_words(fill, bar), tstamp=_number(fill.beat))
    for words in bar.words:
        yield _text("dir", f"“{words.text}”" if words.cue else words.text, tstamp=_number(words.beat))
    for dynamic in bar.dynamics:
        made = element("dynam", staff="1", place="below", tstamp=_number(dynamic.beat))
        made.text = dynamic.level
        yield made
    if bar.held is not None:
        yield element("fermata", staff="1", tstamp=_number(bar.held))


def _number(beat: Fraction) -> str:
    """MEI counts beats of the meter's lower number from 1, as charts do; decimals where a chart has a third."""
    return in_figures(beat, 4)


def _road(first: Bar, last: Bar) -> Iterator[ET.Element]:
    end = str(last.meter.upper + 1)
    if first.road.segno:
        yield element("repeatMark", staff="1", tstamp="1", func="segno")
    if first.road.coda:
        yield element("repeatMark", staff="1", tstamp="1", func="coda")
    if last.road.to_coda:
        yield _text("dir", "To Coda", tstamp=end)
    if last.road.fine:
        yield element("repeatMark", staff="1", tstamp=end, func="fine")
    if last.road.jump:
        made = element("repeatMark", staff="1", tstamp=end, func="daCapo" if last.road.jump.to == START else "dalSegno")
        made.text = jump_words(last.road.jump)
        yield made
    if last.road.repeat_end > 2:
        yield _text("dir", f"× {last.road.repeat_end}", tstamp=end)
