"""Riffs drawn for practice songs stay inside their bar and mark its groups."""

from __future__ import annotations

import numpy as np
import pytest

from bench.tempo.practice_parts import METERS, Style
from bench.tempo.practice_riffs import GROUPINGS, draw_parts

PULSES = {"4/4": 8, "3/4": 6, "6/8": 6, "5/4": 10, "7/8": 7}


@pytest.mark.parametrize("meter", GROUPINGS)
def test_groups_fill_the_bar(meter: str) -> None:
    assert {sum(grouping) for grouping in GROUPINGS[meter]} == {PULSES[meter]}


@pytest.mark.parametrize("style", METERS, ids=lambda style: style.name)
def test_every_part_lies_within_its_bar_and_the_first_beat_is_played(style: Style) -> None:
    drawn = [parts for seed in range(40) if (parts := draw_parts(np.random.default_rng(seed), style))]

    assert drawn
    for parts in drawn:
        places = [at for part in parts for bar in part.bars for at, *_ in bar]
        assert 0 == min(places) <= max(places) < style.beats
        assert all(part.styles == style.name for part in parts)


def test_some_songs_keep_to_a_common_style() -> None:
    assert any(draw_parts(np.random.default_rng(seed), METERS[0]) is None for seed in range(20))
