from __future__ import annotations

import numpy as np
import pytest

from analysis.core.samples import Doubles
from analysis.form.hit_numbers import NUMBERS, hit_numbers, usual_beside
from analysis.form.slots import lay_slots
from tests.analysis.form.played import clock_of, played

BEATS: tuple[float, ...] = (1, 2, 3, 4)
BARS = 8


def numbers_of(changed: dict[int, dict[int, tuple[float, ...]]]) -> dict[str, Doubles]:
    """Each number as an array (bars, sixteenths); four players strike every beat of all other bars."""
    clock = clock_of(BARS)
    usual = dict.fromkeys(range(4), BEATS)
    sound = played(clock, dict.fromkeys(range(1, BARS + 1), usual) | changed)
    (grid,) = lay_slots(clock, sound)
    numbers = hit_numbers(grid, sound)
    return {name: numbers[:, :, place] for place, name in enumerate(NUMBERS)}


def test_what_is_usual_are_the_medians_of_four_bars_before_and_after() -> None:
    before, after = usual_beside(np.array([0.0, 1, 2, 3, 4, 10, 11]))

    assert before[5] == np.median([1, 2, 3, 4])
    assert after[5] == 11
    assert np.isnan(before[0])
    assert np.isnan(after[-1])


def test_bars_like_their_neighbours_have_nothing_new_and_lack_nothing() -> None:
    numbers = numbers_of({})

    assert numbers["strongest new stroke of the bar"].max() == 0
    assert numbers["bar lacks"].max() == 0
    assert numbers["changed players"].max() == 0


def test_a_figure_of_all_players_is_new_together_and_leaves_strokes_out() -> None:
    figure = (1, 2.5, 4)
    numbers = numbers_of({5: dict.fromkeys(range(4), figure)})

    row = {name: values[4] for name, values in numbers.items()}
    slot = 6  # beat 2.5, in sixteenths
    assert row["struck together"][slot] == 1
    assert row["new among changed players"][slot] == pytest.approx(1)
    assert row["changed players"][slot] > 0.3
    assert row["bar lacks"][slot] > 0.3
    assert row["of the bar's strongest"][slot + 1] == 0


def test_one_player_alone_is_one_of_four_that_changed() -> None:
    numbers = numbers_of({5: dict.fromkeys(range(3), BEATS) | {3: (1.5, 2.5, 3.5, 4.5)}})

    assert 0.2 < numbers["changed players"][4, 0] <= 0.25
    assert numbers["struck together"][4, 2] == 0.25


def test_a_pulse_that_is_struck_early_by_those_who_then_leave_it_out() -> None:
    pushed: dict[int, tuple[float, ...]] = dict.fromkeys(range(4), (1, 2, 3, 4.5))
    numbers = numbers_of({5: pushed, 6: dict.fromkeys(range(4), (2, 3, 4))})

    early = numbers["pulse struck early"]
    assert early[4, 14] == 1
    assert early.sum() == 1


def test_slots_past_a_bars_end_have_zeros() -> None:
    numbers = numbers_of({})

    assert all(np.isfinite(values).all() for values in numbers.values())
