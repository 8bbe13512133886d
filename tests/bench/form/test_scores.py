"""Scores of a form, by hand."""

import pytest

from bench.form.scores import border_scores, corrections, pairwise_f


def test_borders_are_matched_one_to_one() -> None:
    """Two found borders near one true one: one of them is false, and the other true one is missed."""
    scores = border_scores([7, 9, 30], [8, 16], within=1)

    assert [scores.precision, scores.recall] == pytest.approx([1 / 3, 0.5])
    assert scores.f == pytest.approx(0.4)


def test_an_exact_border_is_at_its_bar() -> None:
    assert border_scores([8, 17], [8, 16], within=0).f == 0.5
    assert border_scores([8, 17], [8, 16], within=1).f == 1.0


def test_no_border_found_is_no_credit() -> None:
    assert border_scores([], [8], within=1).f == 0.0
    assert border_scores([], [], within=1).f == 1.0


def test_pairs_of_bars_share_a_label_or_not() -> None:
    """Of four bars, AABB has the pairs 1-2 and 3-4; AAAA has six, two of them right: F = 2 x 1/3 x 1 / (4/3)."""
    assert pairwise_f(list("AABB"), list("CCDD")) == 1.0
    assert pairwise_f(list("AAAA"), list("AABB")) == pytest.approx(0.5)


def test_a_moved_border_is_one_correction() -> None:
    assert corrections([8, 17], [8, 16]) == 1
    assert corrections([8, 12, 16], [8, 16]) == 1
    assert corrections([8], [8, 16, 24]) == 2
    assert corrections([8, 16], [8, 16]) == 0
