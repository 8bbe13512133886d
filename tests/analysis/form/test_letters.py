"""Sections side by side: bar by bar, in any key, the shorter at either end of the longer."""

from __future__ import annotations

import numpy as np

from analysis.form.letters import NUMBERS, group_alike, letter, pair_numbers
from analysis.form.likeness import KEYS, Likeness

BARS = 14


def alike_at(pairs: list[tuple[int, int]], key: int) -> Likeness:
    """Only those pairs of bars are alike, in that key."""
    none = np.zeros((BARS, BARS), np.float32)
    same = none.copy()
    for one, two in pairs:
        same[one, two] = same[two, one] = 1.0
    return Likeness(np.stack([same if index == key else none for index in range(KEYS)]), same, same)


def test_a_section_in_another_key_is_alike_bar_by_bar() -> None:
    numbers = pair_numbers(alike_at([(bar, bar + 7) for bar in range(4)], 3), range(4), range(7, 11))
    by_name = dict(zip(NUMBERS, numbers, strict=True))

    assert by_name["harmony"] == by_name["rhythm"] == by_name["weakest bar"] == by_name["share of length"] == 1.0
    assert by_name["harmony in one key"] == 0.0


def test_a_shorter_section_is_laid_at_the_end_too() -> None:
    """Bars 9 to 12 are the last four of six."""
    numbers = pair_numbers(alike_at([(bar, bar + 6) for bar in range(2, 6)], 0), range(6), range(8, 12))

    assert dict(zip(NUMBERS, numbers, strict=True))["harmony"] == 1.0


def test_the_likest_share_a_group_and_groups_are_numbered_as_they_come() -> None:
    odds = np.array([[0, -5, 4, -5], [-5, 0, -5, 3], [4, -5, 0, -5], [-5, 3, -5, 0]], np.float64)

    assert group_alike(odds) == [0, 1, 0, 1]
    assert group_alike(np.full((3, 3), -9.0)) == [0, 1, 2]
    assert group_alike(np.zeros((1, 1))) == [0]


def test_letters_go_on_after_z() -> None:
    assert [letter(index) for index in (0, 25, 26, 27, 52)] == ["A", "Z", "AA", "AB", "BA"]
