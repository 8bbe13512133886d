"""Songs with known form: what they say of themselves holds in their bars and in their sound."""

import itertools
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from bench.form.arrangements import arrange
from bench.form.parts import beat_times_s, first_beats, seconds_at
from bench.form.render import RATE_HZ, render
from bench.form.songs import truth_of

SEEDS = range(1000, 1060)
BARS = 12


@pytest.fixture(scope="module")
def truths() -> list[dict[str, Any]]:
    return [truth_of(arrange(seed)) for seed in SEEDS]


def test_sections_follow_on_one_another_and_hold_all_bars(truths: list[dict[str, Any]]) -> None:
    for truth in truths:
        starts = [one["start_bar"] for one in truth["sections"]]
        lengths = [one["bars"] for one in truth["sections"]]
        assert starts == [1, *(1 + end for end in itertools.accumulate(lengths[:-1]))]
        assert sum(lengths) == truth["bars"] == len(truth["downbeats_s"]) - 1 == len(truth["meters"])


def test_half_the_songs_have_drums_and_half_come_as_stems(truths: list[dict[str, Any]]) -> None:
    assert sum(truth["drums"] for truth in truths) == sum(truth["stems"] for truth in truths) == len(truths) / 2
    assert all(bool(truth["grooves"]) <= truth["drums"] for truth in truths)


def test_the_set_holds_odd_lengths_tags_short_bars_key_changes_and_every_ending(truths: list[dict[str, Any]]) -> None:
    lengths = {one["bars"] for truth in truths for one in truth["sections"]}
    assert {2, 5, 7, 9} <= lengths
    assert {sign for truth in truths for sign in truth["meters"]} >= {"4/4", "2/4", "3/4", "6/8", "12/8"}
    assert any(one["transpose"] for truth in truths for one in truth["sections"])
    assert {truth["ending"]["kind"] for truth in truths} == {"hit", "held", "ritardando", "fade", "none"}


def test_a_bar_lasts_as_its_tempo_says_until_a_ritardando() -> None:
    """Arithmetic: a pulse lasts 60 s over the tempo; the seed is one whose tempo does not sway."""
    song = next(song for seed in SEEDS if not (song := arrange(seed)).moves)
    truth = truth_of(song)
    pulse_s = 60 / song.bpm

    first = truth["downbeats_s"][1] - truth["downbeats_s"][0]
    assert first == pytest.approx(song.bars[0].beats / song.meter.pulse * pulse_s, abs=1e-5)


def test_in_a_stop_the_whole_band_is_quiet() -> None:
    """The first bars of the first song that has a stop among them, measured in its own sound."""
    song = next(one for one in map(arrange, SEEDS) if any(bar.stop for bar in one.bars[:BARS]))
    song = replace(song, bars=song.bars[:BARS], ending="none")
    stems = list(render(song).values())
    mix = np.sum(stems, axis=0)
    lines = seconds_at(song, beat_times_s(song), np.array(first_beats(song)))
    number, stop = next((number, bar.stop) for number, bar in enumerate(song.bars) if bar.stop)
    beat_s = (lines[number + 1] - lines[number]) / song.bars[number].beats
    first_s = lines[number] + (stop[0] - 0.5) * beat_s  # half a beat of ring is left out
    rest = mix[int(first_s * RATE_HZ) : int((lines[number + 1] - 0.05) * RATE_HZ)]

    assert np.mean(rest**2) < 0.05 * np.mean(mix**2)
