from fractions import Fraction

from analysis.chart.document import CODA, FINE, START, Chart, Jump, Road, Section
from analysis.chart.roadmap import MOST_PLAYED, bar_labels, played_order, section_counts, song_bars
from tests.analysis.chart.charts import bar, ds_al_coda, plain, signs


def _order(*ranges: tuple[int, int]) -> tuple[int, ...]:
    return tuple(number for first, last in ranges for number in range(first, last + 1))


def test_a_ds_al_coda_takes_no_repeats_and_the_last_ending() -> None:
    # Common practice; worked through by hand: 4 + 8 + 7 + 1 + 8 + 4, then 7 + 1 + 8 + 4.
    order = played_order(ds_al_coda()).order

    assert order == _order(
        (1, 4), (5, 12), (5, 11), (13, 13), (14, 21), (22, 25), (5, 11), (13, 13), (14, 21), (26, 29)
    )
    assert len(order) == 52
    # 52 bars of four beats at 112 take 111.429 s.
    assert round(float(52 * 4 * Fraction(60, 112)), 3) == 111.429


def test_a_ds_with_repeats_takes_them_again() -> None:
    assert len(played_order(ds_al_coda(repeats=True)).order) == 60


def test_each_written_bar_knows_the_bars_of_the_song() -> None:
    bars = song_bars(ds_al_coda())

    assert bars[1] == (1,)
    assert bars[5] == (5, 13, 33)
    assert bars[12] == (12,)
    assert bars[13] == (20, 40)
    assert bars[29] == (52,)


def test_a_bar_is_called_by_its_numbers_in_the_song() -> None:
    labels = bar_labels(ds_al_coda())

    assert (labels[1], labels[5], labels[12], labels[29]) == ("1", "5 (13, 33)", "12", "52")


def test_a_bar_that_is_never_played_says_so_and_many_passes_are_cut_short() -> None:
    chart = signs(4, bar_1=Road(repeat_end=6), bar_2=Road(fine=True), bar_3=Road(jump=Jump(START, FINE)))

    labels = bar_labels(chart)

    assert labels[1] == "1 (2, 3, 4, …)"
    assert labels[4] == "4 as written"


def test_a_section_says_how_often_it_is_played() -> None:
    def lasting(*roads: Road) -> Section:
        return Section("A", tuple(bar(road=road) for road in roads))

    start, end = Road(repeat_start=True), Road(repeat_end=2)
    first, second = Road(ending=(1,), repeat_end=2), Road(ending=(2,))

    assert section_counts(Chart("x", (lasting(start, Road(), Road(), end),))) == ("4 bars × 2",)
    # Three bars, the first ending, three bars, the second ending.
    assert section_counts(Chart("x", (lasting(start, Road(), Road(), first, second),))) == ("5 bars, 8 played",)
    # Verse and chorus together: each is played once before the other comes.
    both = Chart("x", (lasting(start, Road()), lasting(Road(), end)))
    assert section_counts(both) == ("2 bars", "2 bars")
    assert section_counts(Chart("x", (plain("A", 1),))) == ("1 bar",)


def test_a_passage_is_played_as_often_as_its_repeat_says() -> None:
    chart = signs(4, bar_2=Road(repeat_start=True), bar_3=Road(repeat_end=3))

    assert played_order(chart).order == (1, 2, 3, 2, 3, 2, 3, 4)


def test_a_repeat_without_a_start_goes_to_the_beginning_and_the_next_one_to_the_bar_after() -> None:
    chart = signs(4, bar_2=Road(repeat_end=2), bar_4=Road(repeat_end=2))

    assert played_order(chart).order == (1, 2, 1, 2, 3, 4, 3, 4)


def test_an_ending_may_be_for_several_passes() -> None:
    chart = signs(4, bar_2=Road(ending=(1, 2), repeat_end=3), bar_3=Road(ending=(3,)))

    assert played_order(chart).order == (1, 2, 1, 2, 1, 3, 4)


def test_three_endings_with_a_repeat_after_each_of_the_first_two() -> None:
    chart = signs(
        5,
        bar_2=Road(ending=(1,), repeat_end=3),
        bar_3=Road(ending=(2,), repeat_end=3),
        bar_4=Road(ending=(3,)),
    )

    assert played_order(chart).order == (1, 2, 1, 3, 1, 4, 5)


def test_a_dc_al_fine_stops_at_the_fine_the_second_time() -> None:
    chart = signs(4, bar_2=Road(fine=True), bar_4=Road(jump=Jump(START, FINE)))

    assert played_order(chart).order == (1, 2, 3, 4, 1, 2)


def test_a_jump_waits_for_the_last_pass_of_a_repeat_at_the_same_bar() -> None:
    chart = signs(3, bar_2=Road(repeat_start=True), bar_3=Road(repeat_end=2, jump=Jump(START)))

    assert played_order(chart).order == (1, 2, 3, 2, 3, 1, 2, 3)


def test_a_road_that_leads_in_a_circle_is_given_up() -> None:
    chart = signs(6, bar_2=Road(coda=True, segno=True), bar_4=Road(to_coda=True), bar_6=Road(jump=Jump(until=CODA)))

    played = played_order(chart)

    assert played.endless
    assert len(played.order) == MOST_PLAYED


def test_bars_after_a_fine_that_nobody_reaches_are_listed() -> None:
    chart = signs(5, bar_1=Road(fine=True), bar_3=Road(jump=Jump(START, FINE)))

    assert played_order(chart).unplayed == (4, 5)
