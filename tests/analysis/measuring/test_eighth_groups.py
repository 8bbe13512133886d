from __future__ import annotations

import numpy as np
import pytest

from analysis.measuring.eighth_groups import GROUP_NUMBERS, eighth_groups
from tests.analysis.form.played import clock_of, played

BARS = 8


@pytest.mark.parametrize(
    ("eighths", "threes", "twos"),
    [
        ((1, 4), 1, 0),
        ((2, 3, 5, 6), 1, 0),  # off the beats of 6/8
        ((1, 3, 5), 0, 1),
        ((3, 5), 0, 1),
        ((2, 4, 6), 0, 1),  # off the beats of 3/4
    ],
)
def test_a_player_says_how_the_eighths_are_grouped(eighths: tuple[int, ...], threes: int, twos: int) -> None:
    clock = clock_of(BARS, meter="6/8")
    sound = played(clock, {bar: {0: eighths} for bar in range(1, BARS + 1)})

    apart, clearly_threes, clearly_twos = eighth_groups(clock, sound)

    assert (clearly_threes, clearly_twos) == (threes, twos)
    assert (apart > 0) == (threes > twos)


def test_players_who_play_all_eighths_alike_say_nothing() -> None:
    clock = clock_of(BARS, meter="6/8")
    sound = played(clock, {bar: {0: range(1, 7)} for bar in range(1, BARS + 1)})

    assert np.array_equal(eighth_groups(clock, sound), np.zeros(len(GROUP_NUMBERS)))


def test_two_players_count_as_much_as_each_other() -> None:
    clock = clock_of(BARS, meter="6/8")
    sound = played(clock, {bar: {0: (1, 4), 1: (1, 3, 5)} for bar in range(1, BARS + 1)})

    assert eighth_groups(clock, sound)[1:] == pytest.approx([0.5, 0.5])
