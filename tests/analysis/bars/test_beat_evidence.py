"""Numbers on how what happens lies within the beat, by name."""

from __future__ import annotations

import numpy as np
import pytest

from analysis.bars.beat_evidence import BEAT_COLUMNS, DIFFERING_COLUMNS, beat_evidence, by_meter, hats, meter_evidence
from analysis.bars.beat_table import beat_table, prepare
from analysis.core.samples import Doubles
from tests.analysis.onsets import even_beats, onset_evidence

BEATS_S = even_beats(120, 40)


def numbers_of(onset_s: Doubles) -> dict[str, float]:
    table = beat_table(prepare(onset_evidence(onset_s)), 0.5, 0.5)
    assert table is not None
    return dict(zip(BEAT_COLUMNS, beat_evidence(table), strict=True))


def test_attacks_on_beats_and_halves_are_counted_where_they_are() -> None:
    found = numbers_of(np.sort(np.concatenate([BEATS_S, BEATS_S[::2] + 0.25])))

    assert found["attacks.on_beat"] == pytest.approx(2 / 3)
    assert found["attacks.half"] == pytest.approx(1 / 3)
    assert found["attacks.thirds"] == found["attacks.quarters"] == found["bass.on_beat"] == 0
    assert found["attacks.on_cover"] == pytest.approx(1, abs=0.05)
    assert found["attacks.half_cover"] == pytest.approx(0.5, abs=0.05)
    assert found["strength.on_beat.middle"] > found["strength.half.middle"]


def test_thirds_are_told_from_straight_playing() -> None:
    found = numbers_of(0.5 + np.arange(120) / 6)

    assert found["attacks.thirds"] == pytest.approx(2 / 3, abs=0.01)
    assert found["fit.better"] == found["fit.thirds"] > found["fit.straight"]
    assert found["pulses.3"] > 0.9 > found["pulses.2"]


def test_the_tempo_lies_between_its_two_knots() -> None:
    found = numbers_of(BEATS_S)

    assert found["tempo.116_bpm"] + found["tempo.132_bpm"] == pytest.approx(1)
    assert found["tempo.116_bpm"] > found["tempo.132_bpm"] > 0


def test_a_value_beyond_the_knots_counts_for_the_last() -> None:
    assert hats(1000.0, (1.0, 10.0, 100.0)) == pytest.approx([0, 0, 1])
    assert hats(10.0**0.25, (1.0, 10.0, 100.0)) == pytest.approx([0.75, 0.25, 0])


def test_what_weighs_by_meter_stands_in_the_place_of_its_meter() -> None:
    numbers = np.array([1.0, 2.0])

    assert list(by_meter(2, 4, numbers)) == [0, 0, 1, 2, 0, 0]
    assert not by_meter(0, 4, numbers).any()


def test_the_meters_own_numbers_are_copies_of_the_shared_ones() -> None:
    table = beat_table(prepare(onset_evidence(0.5 + np.arange(120) / 6)), 0.5, 0.5)
    assert table is not None
    shared, repeats = beat_evidence(table), np.array([7.0])

    found = meter_evidence(1, 3, shared, repeats)

    by_name = dict(zip(BEAT_COLUMNS, shared, strict=True))
    own = dict(zip(DIFFERING_COLUMNS, found[3 : 3 + len(DIFFERING_COLUMNS)], strict=True))
    assert list(found[:3]) == [0, 1, 0]
    assert {name: own[name] for name in own if name in by_name} == {
        name: by_name[name] for name in own if name in by_name
    }
    # 120 BPM lies a quarter of the way from knot 6, at 116, to knot 7, at 132: on a logarithmic scale .26.
    assert own["tempo.place"] == pytest.approx(6.26, abs=0.01)
    assert own["tempo.place_squared"] == pytest.approx(own["tempo.place"] ** 2 / 12)
    assert found[3 + len(DIFFERING_COLUMNS)] == 7.0
    assert not found[4 + len(DIFFERING_COLUMNS) :].any()
