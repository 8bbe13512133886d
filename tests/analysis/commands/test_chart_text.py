"""A draft for people: one line a section, with what happens in it."""

from analysis.commands.chart_text import chart_text
from analysis.core.chart_draft import ChartDraft, Ending, Hit, MeterChange, SectionGroove, Stop
from analysis.core.reports import Section


def test_each_section_says_what_it_holds() -> None:
    draft = ChartDraft(
        bars=9,
        meters=(MeterChange(1, "4/4"), MeterChange(5, "2/4")),
        sections=(Section(1, 4, "A", 0.9, "mp"), Section(5, 5, "B", 0.55, "f")),
        hits=(Hit(4, 2.5, 0.5, 0.8),),
        stops=(Stop(9, 3, 2),),
        fills=(4,),
        grooves=(SectionGroove(1, (1, 3.5), (2, 4)),),
        ending=Ending("held", 9),
    )
    text = chart_text(draft)

    assert "9 bars, 4/4 from bar 1, 2/4 from bar 5" in text
    assert "A  bars 1-4 (4)       mp  sure 90%  hit 4:2.5, fill 4" in text
    assert "B  bars 5-9 (5)       f   sure 55%  stop 9:3 for 2" in text
    assert "Groove of section 1: kick 1 3.5; snare 2 4; hat none" in text
    assert text.endswith("Ending: held, bar 9")


def test_a_song_without_bars_says_so() -> None:
    assert chart_text(ChartDraft()) == "No bars were found in these files, so there is nothing to draft."


def test_a_few_bars_say_that_they_have_no_form() -> None:
    assert "Too few bars" in chart_text(ChartDraft(bars=2, meters=(MeterChange(1, "4/4"),)))
