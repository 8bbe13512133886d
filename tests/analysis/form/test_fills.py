from __future__ import annotations

from analysis.core.chart_draft import Hit, Stop
from analysis.core.reports import Section
from analysis.form.fills import Fill, find_fills
from tests.analysis.form.played import clock_of
from tests.analysis.form.test_grooves import ROCK, bars_of

FILL = {"kick": (1.0, 2.5), "snare": (2.0,), "hat": (1.0, 1.5, 2.0, 2.5), "tom": (3.0, 3.5, 4.0, 4.25, 4.5, 4.75)}
SECTION = (Section(1, 8, "A"),)


# The same groove up to beat 4, then toms.
LATE = {"kick": (1.0, 2.5), "snare": (2.0,), "hat": (1.0, 1.5, 2.0, 2.5, 3.0, 3.5), "tom": (4.0, 4.25, 4.5, 4.75)}


def test_strokes_over_the_toms_instead_of_time_are_a_fill_from_where_they_begin() -> None:
    bars = bars_of(clock_of(8), dict.fromkeys(range(1, 9), ROCK) | {4: FILL, 8: LATE})

    assert find_fills(bars, SECTION, (), ()) == (Fill(4, 3.0), Fill(8, 4.0))


def test_a_groove_that_goes_through_has_no_fills() -> None:
    bars = bars_of(clock_of(8), dict.fromkeys(range(1, 9), ROCK))

    assert find_fills(bars, SECTION, (), ()) == ()


def test_a_bar_of_hits_or_with_a_stop_is_no_fill() -> None:
    bars = bars_of(clock_of(8), {bar: FILL if bar in (4, 8) else ROCK for bar in range(1, 9)})

    assert find_fills(bars, SECTION, (Hit(4, 1.0, 0.5),), (Stop(8, 3.0, 2.0),)) == ()


def test_a_section_without_drums_has_no_fills() -> None:
    bars = bars_of(clock_of(8), {8: FILL})

    assert find_fills(bars, (Section(1, 4, "A"),), (), ()) == ()
