from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest

from analysis.form.hit_numbers import NUMBERS
from analysis.form.hits import BAR_NUMBERS, LEAST_PROBABILITY, WEIGHTS, HitModel, Regression, find_hits, with_bar
from analysis.form.push_numbers import PUSH_NUMBERS
from tests.analysis.form.played import clock_of, played

BARS = 16
# Four players, each with a rhythm of its own.
USUAL = {0: (1, 2.5, 3), 1: (1, 2, 3, 4), 2: (1.5, 2.5, 3.5, 4.5), 3: (1, 3)}


def hits_of(
    changed: dict[int, dict[int, tuple[float, ...]]], rests: list[tuple[int, float]]
) -> list[tuple[int, float]]:
    clock = clock_of(BARS)
    sound = played(clock, dict.fromkeys(range(1, BARS + 1), USUAL) | changed, rests=rests)
    return [(hit.bar, hit.beat) for hit in find_hits(sound, clock)]


def test_a_figure_of_the_whole_band_is_found_stroke_by_stroke() -> None:
    figure = (1, 2.5, 4)
    gaps = [(8, 1.5), (8, 3), (8, 4.5)]

    assert hits_of({8: dict.fromkeys(range(4), figure)}, gaps) == [(8, beat) for beat in figure]


def test_a_band_that_plays_the_same_in_every_bar_has_no_hits() -> None:
    assert hits_of({}, []) == []


def test_an_accent_off_the_pulse_that_every_bar_has_is_no_hit() -> None:
    clock = clock_of(BARS)
    same = dict.fromkeys(range(4), (1, 2.5, 4))

    assert find_hits(played(clock, dict.fromkeys(range(1, BARS + 1), same)), clock) == ()


def test_hits_are_as_likely_as_is_asked_for() -> None:
    clock = clock_of(BARS)
    figures: dict[int, dict[int, tuple[float, ...]]] = {
        8: dict.fromkeys(range(4), (1, 2.5, 4)),
        12: USUAL | {0: (2.25, 3.5), 1: (2.25, 3.5)},
    }
    sound = played(clock, dict.fromkeys(range(1, BARS + 1), USUAL) | figures)
    surest = max(hit.confidence for hit in find_hits(sound, clock)) - 0.002
    fewer, more = find_hits(sound, clock, least=surest), find_hits(sound, clock)

    assert 0 < len(fewer) < len(more)
    assert min(hit.confidence for hit in fewer) >= surest
    assert LEAST_PROBABILITY <= min(hit.confidence for hit in more) < surest


def test_a_tune_that_changes_alone_is_no_hit() -> None:
    assert hits_of({8: USUAL | {3: (1.5, 2.25, 4)}}, []) == []


def test_hits_know_their_length_and_how_sure_they_are() -> None:
    clock = clock_of(BARS)
    figure = dict.fromkeys(range(4), (1, 2.5, 4))
    sound = played(clock, dict.fromkeys(range(1, BARS + 1), USUAL) | {8: figure}, rests=[(8, 1.5), (8, 3), (8, 4.25)])

    lengths = [hit.length_beats for hit in find_hits(sound, clock)]

    assert lengths == [0.5, 0.5, 0.25]
    assert all(0.4 <= hit.confidence <= 1 for hit in find_hits(sound, clock))


def test_the_last_bar_is_left_to_the_ending() -> None:
    assert [bar for bar, _ in hits_of({BARS: dict.fromkeys(range(4), (1, 2.5))}, [(BARS, 3)]) if bar == BARS] == []


@pytest.mark.parametrize("bars", [1, 2])
def test_a_song_of_hardly_a_bar_has_no_hits(bars: int) -> None:
    clock = clock_of(bars)

    assert find_hits(played(clock, {1: {0: (1, 2)}}), clock) == ()


def test_a_slot_sees_the_likeliest_other_of_its_bar() -> None:
    inside = np.array([[True, True, True, False]])
    numbers = np.zeros((1, 4, len(NUMBERS)))

    rows = with_bar(numbers, inside, np.array([[2.0, -1.0, 1.0, 5.0]]))[0, :, len(NUMBERS) :]

    own, first, other, _ = rows.T
    assert own[:3].tolist() == [2.0, -1.0, 1.0]
    assert first.tolist() == [2.0] * 4
    assert other.tolist() == [1.0, 2.0, 2.0, 2.0]


def test_weights_are_stored_by_name(tmp_path: Path) -> None:
    HitModel.load(WEIGHTS).save(tmp_path / "again.json")

    assert (tmp_path / "again.json").read_text() == WEIGHTS.read_text()
    data = json.loads(WEIGHTS.read_text())
    assert set(data["in_bar"]["weights"]) == {*NUMBERS, *BAR_NUMBERS}
    assert set(data["push"]["weights"]) == {*PUSH_NUMBERS}


def test_weights_of_other_numbers_are_refused() -> None:
    data = json.loads(WEIGHTS.read_text())["alone"]
    data["weights"]["colour"] = 1.0

    with pytest.raises(ValueError, match="colour"):
        Regression.from_json(data, NUMBERS)


def test_four_sixteenths_in_a_row_are_no_figure_of_accents() -> None:
    run: dict[int, tuple[float, ...]] = dict.fromkeys(range(4), (1, 4, 4.25, 4.5, 4.75))

    assert [beat for _, beat in hits_of({8: run}, [(8, 1.5)]) if beat >= 4] == []
