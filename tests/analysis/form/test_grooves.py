from __future__ import annotations

from dataclasses import replace

import numpy as np

from analysis.core.chart_draft import SectionGroove
from analysis.core.reports import Section
from analysis.form.bar_clock import BarClock
from analysis.form.grooves import DrumBars, drum_bars, find_grooves
from analysis.form.slots import lay_slots
from analysis.form.song_sound import hear
from tests.analysis.form.played import clock_of, drum_features

EIGHTHS = (1.0, 1.5, 2.0, 2.5, 3.0, 3.5, 4.0, 4.5)
ROCK = {"kick": (1.0, 2.5, 3.0), "snare": (2.0, 4.0), "hat": EIGHTHS}
QUARTERS = {"kick": (1.0, 3.0), "snare": (2.0, 4.0), "hat": (1.0, 2.0, 3.0, 4.0)}


def bars_of(clock: BarClock, strokes: dict[int, dict[str, tuple[float, ...]]]) -> DrumBars:
    file = drum_features(clock, strokes)
    return DrumBars(next(lay_slots(clock, hear([file]))), [file], alone=True)


def test_each_section_has_its_own_groove() -> None:
    clock = clock_of(8)
    bars = bars_of(clock, {bar: ROCK if bar < 5 else QUARTERS for bar in range(1, 9)})

    assert find_grooves(bars, (Section(1, 4, "A"), Section(5, 4, "B"))) == (
        SectionGroove(1, ROCK["kick"], ROCK["snare"], ROCK["hat"]),
        SectionGroove(2, QUARTERS["kick"], QUARTERS["snare"], QUARTERS["hat"]),
    )


def test_the_bar_that_is_played_most_counts() -> None:
    clock = clock_of(5)
    other = {"kick": (1.0, 4.5), "snare": (2.0, 3.5, 4.0), "hat": EIGHTHS}
    bars = bars_of(clock, dict.fromkeys(range(1, 5), ROCK) | {5: other})

    (groove,) = find_grooves(bars, (Section(1, 5, "A"),))

    assert (groove.kick, groove.snare) == (ROCK["kick"], ROCK["snare"])


def test_sections_of_one_letter_that_are_played_nearly_alike_have_one_groove() -> None:
    clock = clock_of(8)
    busier = ROCK | {"kick": (1.0, 2.5, 3.0, 4.5)}
    bars = bars_of(clock, dict.fromkeys(range(1, 6), ROCK) | dict.fromkeys((6, 7), busier) | {8: ROCK})
    first, second = Section(1, 5, "A"), Section(6, 3, "A")

    (alone,) = find_grooves(bars, (second,))
    together = find_grooves(bars, (first, second))
    apart = find_grooves(bars, (first, replace(second, label="B")))

    assert alone.kick == busier["kick"]
    assert [groove.kick for groove in together] == [ROCK["kick"], ROCK["kick"]]
    assert [groove.kick for groove in apart] == [ROCK["kick"], busier["kick"]]


def test_sections_of_one_letter_that_are_played_otherwise_keep_their_own() -> None:
    clock = clock_of(8)
    bars = bars_of(clock, {bar: ROCK if bar < 5 else QUARTERS for bar in range(1, 9)})

    first, second = find_grooves(bars, (Section(1, 4, "A"), Section(5, 4, "A")))

    assert (first.hat, second.hat) == (ROCK["hat"], QUARTERS["hat"])


def test_a_six_eight_groove_counts_eighths() -> None:
    clock = clock_of(4, meter="6/8")
    beat = {"kick": (1.0,), "snare": (4.0,), "hat": (1.0, 2.0, 3.0, 4.0, 5.0, 6.0)}
    bars = bars_of(clock, dict.fromkeys(range(1, 5), beat))

    assert find_grooves(bars, (Section(1, 4, "A"),)) == (SectionGroove(1, beat["kick"], beat["snare"], beat["hat"]),)


def test_a_section_without_drums_has_no_groove() -> None:
    clock = clock_of(8)
    bars = bars_of(clock, dict.fromkeys(range(1, 5), ROCK))

    grooves = find_grooves(bars, (Section(1, 4, "A"), Section(5, 4, "B")))

    assert [groove.section for groove in grooves] == [1]


def test_a_drummers_own_file_is_believed_and_stands_alone() -> None:
    clock = clock_of(4)
    file, silent = drum_features(clock, dict.fromkeys(range(1, 5), ROCK)), drum_features(clock, {})
    grid = next(lay_slots(clock, hear([file])))

    bars = drum_bars(grid, [(file, True), (silent, False), (silent, None)])

    assert bars
    assert bars.alone
    assert np.array_equal(bars.jumps, bars_of(clock, dict.fromkeys(range(1, 5), ROCK)).jumps)


def test_files_that_say_they_hold_no_drums_are_not_read_as_drums() -> None:
    clock = clock_of(4)
    file = drum_features(clock, dict.fromkeys(range(1, 5), ROCK))

    assert drum_bars(next(lay_slots(clock, hear([file]))), [(file, False)] * 3) is None


def test_a_section_of_hats_alone_has_no_kick_or_snare() -> None:
    clock = clock_of(8)
    hats: dict[str, tuple[float, ...]] = {"hat": EIGHTHS}
    bars = bars_of(clock, {bar: hats if bar < 5 else ROCK for bar in range(1, 9)})

    first, _ = find_grooves(bars, (Section(1, 4, "A"), Section(5, 4, "B")))

    assert first == SectionGroove(1, (), (), EIGHTHS)


def test_hats_between_the_pulses_are_not_heard_under_the_snare() -> None:
    clock = clock_of(4)
    beat: dict[str, tuple[float, ...]] = {"kick": (1, 2, 3, 4), "snare": (2, 4), "hat": (1.5, 2.5, 3.5, 4.5)}
    bars = bars_of(clock, dict.fromkeys(range(1, 5), beat))

    (groove,) = find_grooves(bars, (Section(1, 4, "A"),))

    assert groove.hat == (1.5, 2.5, 3.5, 4.5)
