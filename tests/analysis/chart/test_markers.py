from dataclasses import replace

from analysis.chart.document import Chart
from analysis.chart.markers import section_markers
from analysis.maps.midi import Marker
from tests.analysis.chart.charts import ds_al_coda, plain


def test_a_marker_stands_each_time_a_section_is_played() -> None:
    # Bars 1-4 intro; 5 and 13 verse, 21 chorus, 29 bridge, then 33 verse, 41 chorus, 49 coda: see the road map's test.
    assert section_markers(ds_al_coda()) == (
        Marker(1, "Intro"),
        Marker(5, "A Verse"),
        Marker(13, "A Verse"),
        Marker(21, "B Chorus"),
        Marker(29, "C Bridge"),
        Marker(33, "A Verse"),
        Marker(41, "B Chorus"),
        Marker(49, "D Coda"),
    )


def test_a_pick_up_moves_nothing_and_a_section_without_a_name_has_no_marker() -> None:
    chart = Chart("x", (plain("", 1), plain("A", 4)), first_bar=0)

    assert section_markers(chart) == (Marker(1, "A"),)
    assert section_markers(replace(chart, first_bar=1)) == (Marker(2, "A"),)
