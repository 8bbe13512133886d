from collections import Counter

import pytest

from analysis.band.feels import FEELS
from analysis.band.score import write_score
from bench.tempo.development_set import draw_items


def test_the_same_seed_draws_the_same_songs() -> None:
    assert draw_items(3, 20) == draw_items(3, 20)
    assert draw_items(3, 20) != draw_items(4, 20)


@pytest.mark.parametrize("seed", [1, 2])
def test_every_song_can_be_played_and_lasts_as_long_as_meant(seed: int) -> None:
    for item in draw_items(seed, 40):
        score = write_score(item.plan)
        assert 55 < score.duration_s < 130, item.name
        assert score.truth.bars == sum(bars for _, bars in item.plan.form)


def test_the_set_holds_every_feel_and_every_kind_of_song() -> None:
    items = draw_items(1, 60)
    categories = Counter(item.category for item in items)

    assert {item.plan.feel for item in items} == set(FEELS)
    assert {item.plan.tempo.kind for item in items} == {"constant", "drift", "step", "slowing", "rubato"}
    assert any(item.plan.odd_bars for item in items)
    assert any(item.plan.pickup_beats for item in items)
    assert set(categories) == {"drums", "no drums", "rare feels", "stems", "stems and click", "moving", "free"}
    assert min(categories.values()) >= 3
