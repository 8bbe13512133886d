"""Where a chart's sections begin in the song, as markers: in the bar ruler, the MIDI file and the cue sheet."""

from __future__ import annotations

from analysis.chart.document import Chart
from analysis.chart.roadmap import played_order
from analysis.maps.midi import Marker


def section_markers(chart: Chart) -> tuple[Marker, ...]:
    """One each time a section is played, in the song's bars; a section without letter and name has none."""
    names: dict[int, str] = {}
    number = 1
    for section in chart.sections:
        names[number] = " ".join(word for word in (section.letter, section.name) if word)
        number += len(section.bars)
    played = enumerate(played_order(chart).order)
    return tuple(Marker(chart.first_bar + place, names[bar]) for place, bar in played if names.get(bar))
