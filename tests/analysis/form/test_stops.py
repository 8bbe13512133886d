from __future__ import annotations

import json
from dataclasses import replace

import numpy as np
import pytest

from analysis.core.chart_draft import Hit, Stop
from analysis.core.linear_model import LinearModel
from analysis.features.bands import FRAMES_PER_SECOND
from analysis.form.stops import STOP_NUMBERS, WEIGHTS, bar_level_db, find_stops, stop_numbers
from tests.analysis.form.played import clock_of, played

BEATS = (1, 2, 3, 4)
BARS = 12


def test_a_rest_of_everybody_is_a_stop_from_its_pulse_to_the_next_stroke() -> None:
    clock = clock_of(BARS)
    rhythms = {bar: {0: BEATS, 1: BEATS} for bar in range(1, BARS + 1)} | {8: {0: (1, 2), 1: (1, 2)}}

    assert find_stops(played(clock, rhythms, rests=[(8, 3)]), clock) == (Stop(8, 3.0, 2.0),)


def test_a_pulse_at_which_it_gets_louder_is_struck_however_dull() -> None:
    clock = clock_of(BARS)
    rhythms = {bar: {0: BEATS, 1: BEATS} for bar in range(1, BARS + 1)} | {8: {0: (1, 2), 1: (1, 2)}}
    sound = played(clock, rhythms, rests=[(8, 3)])
    pulse = round(float(clock.times_s(7, np.array([3.0]))[0]) * FRAMES_PER_SECOND)
    level_db = sound.level_db.copy()
    level_db[pulse - 10 : pulse] = sound.level_db.min()
    level_db[pulse : pulse + 4] = sound.level_db.max()

    assert find_stops(replace(sound, level_db=level_db), clock) == (Stop(8, 4.0, 1.0),)


def test_a_stop_of_a_pulse_in_six_eight_has_three_beats() -> None:
    clock = clock_of(BARS, meter="6/8")
    rhythms = {bar: {0: (1, 4)} for bar in range(1, BARS + 1)} | {6: {0: (1,)}}

    assert find_stops(played(clock, rhythms, rests=[(6, 4)]), clock) == (Stop(6, 4.0, 3.0),)


def test_a_chord_held_through_is_no_stop() -> None:
    clock = clock_of(BARS)
    rhythms = {bar: {0: BEATS} for bar in range(1, BARS + 1)} | {8: {0: (1,)}}

    assert find_stops(played(clock, rhythms), clock) == ()


def test_a_groove_that_rests_in_every_bar_has_no_stops() -> None:
    clock = clock_of(BARS)
    rhythms = {bar: {0: (1, 2)} for bar in range(1, BARS + 1)}

    assert find_stops(played(clock, rhythms, rests=[(bar, 3) for bar in range(1, BARS + 1)]), clock) == ()


def test_what_rests_in_a_figure_belongs_to_it() -> None:
    clock = clock_of(BARS)
    rhythms = {bar: {0: BEATS} for bar in range(1, BARS + 1)} | {8: {0: (1, 1.5)}}
    figure = (Hit(8, 1.0, 0.5), Hit(8, 1.5, 0.5))

    assert find_stops(played(clock, rhythms, rests=[(8, 2)]), clock, figure) == ()


def test_silence_before_the_first_and_after_the_last_stroke_is_no_stop() -> None:
    clock = clock_of(BARS)
    rhythms = {bar: {0: BEATS} for bar in range(3, BARS - 1)}

    assert find_stops(played(clock, rhythms, rests=[(BARS - 1, 1)]), clock) == ()


def test_a_silent_song_has_no_stops() -> None:
    clock = clock_of(4)

    assert find_stops(played(clock, {}), clock) == ()


def test_the_level_of_a_bar_is_that_of_its_loud_part() -> None:
    clock = clock_of(1)
    sound = played(clock, {1: {0: (1,)}}, fall_db_per_s=0.0)

    assert bar_level_db(sound, 0, 200) == -10.0
    assert bar_level_db(sound, 10_000, 10_100) <= 0.0


def test_a_rest_is_known_by_its_depth_its_place_and_what_is_struck_around_it() -> None:
    clock = clock_of(BARS)
    rhythms = {bar: {0: BEATS, 1: BEATS} for bar in range(1, BARS + 1)} | {8: {0: (1, 2), 1: (1, 2)}}
    likely = (Hit(8, 1.0, 0.5, 0.3), Hit(8, 2.0, 0.5, 0.4), Hit(7, 1.0, 0.5, 0.9))

    rests, numbers = stop_numbers(played(clock, rhythms, rests=[(8, 3)]), clock, likely)

    assert rests == (Stop(8, 3.0, 2.0),)
    (found,) = (dict(zip(STOP_NUMBERS, row, strict=True)) for row in numbers)
    assert found["depth"] == 6
    assert found["to the bar's end"] == 1
    assert found["from the bar's start"] == 0
    assert found["likeliest hit before it"] == 0.4
    assert found["likely hits before it"] == pytest.approx(0.7)
    assert found["strongest stroke before it"] == 1
    assert found["newest stroke before it"] == 0
    assert found["other rests near"] == 0


def test_weights_are_stored_by_name() -> None:
    data = json.loads(WEIGHTS.read_text())

    assert LinearModel.from_json(data, STOP_NUMBERS).to_json(STOP_NUMBERS) == data
