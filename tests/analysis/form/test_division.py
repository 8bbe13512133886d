"""One decision over the song: clear evidence wins over habit, and habit over nothing."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest

from analysis.form.division import divide, length_log_odds

NO, YES = -6.0, 6.0


def lines(bars: int, borders: tuple[int, ...]) -> np.ndarray:
    """Log odds at each line but the first: clear at the given bars, from 0."""
    odds = np.full(bars - 1, NO)
    odds[[bar - 1 for bar in borders]] = YES
    return odds


@pytest.mark.parametrize("borders", [(5, 12, 21), (8, 16), (7, 9), (13,)])
def test_clear_borders_are_taken_whatever_their_lengths(borders: tuple[int, ...]) -> None:
    assert [section.start for section in divide(lines(29, borders))] == [0, *borders]


def test_without_evidence_nothing_is_divided_into_fours() -> None:
    assert len(divide(np.full(15, NO))) == 1


def test_between_two_lines_as_likely_the_usual_length_decides() -> None:
    odds = np.full(15, NO)
    odds[[7 - 1, 8 - 1]] = 0.0

    assert [len(section) for section in divide(odds)] == [8, 8]


def test_sections_follow_on_one_another() -> None:
    sections = divide(np.random.default_rng(3).normal(-2, 2, 599))

    assert sections[0].start == 0
    assert sections[-1].stop == 600
    assert all(one.stop == two.start for one, two in pairwise(sections))


def test_eight_bars_are_the_usual_length_and_one_is_none() -> None:
    assert max(range(1, 40), key=length_log_odds) == 8
    assert min(range(1, 40), key=length_log_odds) == 1
