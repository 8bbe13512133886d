from dataclasses import replace

import pytest

from analysis.chart.checks import SENTENCES, Problem, half_repeats, length_check, meter_differences, problems_of
from analysis.chart.document import CODA, FINE, REPEAT_1, REPEAT_2, RHYTHM, START, Bar, Chart, Jump, Road, Section
from analysis.chart.roadmap import bar_labels
from analysis.maps.tempo_map import TempoMap
from tests.analysis.chart.charts import FOUR_FOUR, THREE_FOUR, ds_al_coda, one_section, signs

FAULTY = [
    (signs(4, bar_4=Road(jump=Jump())), "ds-without-segno", 4),
    (signs(4, bar_2=Road(segno=True)), "segno-without-ds", 2),
    (signs(4, bar_1=Road(segno=True), bar_2=Road(segno=True), bar_4=Road(jump=Jump())), "two-segnos", 2),
    (signs(4, bar_3=Road(coda=True)), "coda-without-to-coda", 3),
    (signs(4, bar_2=Road(to_coda=True), bar_3=Road(jump=Jump(START, CODA))), "to-coda-without-coda", 2),
    (signs(4, bar_2=Road(to_coda=True), bar_3=Road(coda=True)), "coda-without-jump", 2),
    (signs(4, bar_3=Road(jump=Jump(START, CODA)), bar_4=Road(coda=True)), "al-coda-without-to-coda", 3),
    (
        signs(
            6,
            bar_2=Road(to_coda=True),
            bar_3=Road(jump=Jump(START, CODA)),
            bar_4=Road(coda=True),
            bar_5=Road(coda=True),
        ),
        "two-codas",
        5,
    ),
    (signs(4, bar_4=Road(jump=Jump(START, FINE))), "al-fine-without-fine", 4),
    (signs(4, bar_2=Road(fine=True)), "fine-without-jump", 2),
    (signs(4, bar_2=Road(repeat_start=True)), "repeat-not-closed", 2),
    (
        signs(5, bar_1=Road(repeat_start=True), bar_3=Road(repeat_start=True), bar_4=Road(repeat_end=2)),
        "repeat-not-closed",
        1,
    ),
    (signs(4, bar_2=Road(repeat_end=2), bar_4=Road(repeat_end=2)), "repeat-not-opened", 4),
    (signs(4, bar_3=Road(ending=(2,), repeat_end=2)), "ending-without-first", 3),
    (signs(4, bar_3=Road(ending=(1,))), "ending-without-repeat", 3),
    (signs(4, bar_2=Road(ending=(1,), repeat_end=3), bar_3=Road(ending=(2,))), "pass-without-ending", 3),
    (signs(4, bar_1=Road(fine=True), bar_3=Road(jump=Jump(START, FINE))), "never-played", 4),
    (one_section(Bar(FOUR_FOUR, shows=REPEAT_1)), "repeat-of-nothing", 1),
    (one_section(Bar(FOUR_FOUR, shows=REPEAT_2), Bar(FOUR_FOUR, shows=REPEAT_2)), "repeat-of-nothing", 1),
    (one_section(*[Bar(FOUR_FOUR)] * 2, *[Bar(FOUR_FOUR, shows=REPEAT_2)] * 3), "half-repeat", 5),
    (one_section(*[Bar(FOUR_FOUR)] * 2, Bar(FOUR_FOUR, shows=REPEAT_2), Bar(FOUR_FOUR)), "half-repeat", 3),
    (one_section(Bar(FOUR_FOUR), Bar(FOUR_FOUR, shows=RHYTHM)), "no-notes", 2),
]


@pytest.mark.parametrize(("chart", "code", "number"), FAULTY, ids=[f"{code}-{number}" for _, code, number in FAULTY])
def test_names_the_fault_with_its_bar(chart: Chart, code: str, number: int) -> None:
    found = problems_of(chart)

    assert Problem(code, number) in found
    assert all(one.sentence.startswith(f"Bar {bar_labels(chart)[one.bar]}: ") for one in found)


def test_a_circle_is_a_fault() -> None:
    chart = signs(6, bar_2=Road(coda=True, segno=True), bar_4=Road(to_coda=True), bar_6=Road(jump=Jump(until=CODA)))

    assert "endless" in {one.code for one in problems_of(chart)}


def test_every_fault_is_shown_by_an_example() -> None:
    assert {code for _, code, _ in FAULTY} | {"endless"} == set(SENTENCES)


def test_a_whole_road_map_has_no_fault() -> None:
    assert problems_of(ds_al_coda()) == ()
    assert problems_of(signs(4, bar_4=Road(repeat_end=2))) == ()


def test_the_chart_is_held_against_the_songs_length() -> None:
    # 52 bars against 54 at 112 in 4/4: two bars of 2.143 s.
    check = length_check(ds_al_coda(), song_bars=54)

    assert not check.agrees
    assert check.sentence() == "The chart has 52 bars, the song 54."
    assert check.sentence(TempoMap.constant(112).segments[0].bar_s) == (
        "The chart has 52 bars, the song 54: 4.3 seconds apart."
    )


def test_a_pick_up_is_not_a_bar_of_the_song() -> None:
    chart = replace(ds_al_coda(), first_bar=0)

    assert length_check(chart, song_bars=51).agrees


def test_a_meter_that_is_not_the_maps_is_named_once_with_its_first_bar_in_the_song() -> None:
    chart = one_section(*[Bar(FOUR_FOUR)] * 2, replace(Bar(THREE_FOUR), road=Road(repeat_end=2)))

    differences = meter_differences(chart, TempoMap.constant(112))

    assert [(one.bar, one.song_bar, one.chart_meter, one.map_meter) for one in differences] == [(3, 3, "3/4", "4/4")]


def test_a_two_bar_repeat_over_the_end_of_a_section_is_two_halves() -> None:
    bar, half = Bar(FOUR_FOUR), Bar(FOUR_FOUR, shows=REPEAT_2)
    chart = Chart("Wet Stairs Beside Kettle", (Section("A", (bar, bar, half)), Section("B", (half, bar, half, half))))
    assert half_repeats(chart) == (3, 4)
