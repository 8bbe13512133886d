"""What a player knows of a bar."""

from __future__ import annotations

import dataclasses
from fractions import Fraction

import numpy as np
import pytest

from analysis.band.feels import FEELS
from analysis.band.harmony import Chord, Key
from analysis.band.parts import Bar, touch
from analysis.maps.tempo_map import MeterSign

C, F, G = Chord((0, 4, 7)), Chord((5, 9, 0)), Chord((7, 11, 2))
BAR = Bar(
    number=5,
    label="verse",
    index=0,
    length=8,
    chords=((0.0, C), (2.0, F)),
    coming=G,
    meter=MeterSign.parse("4/4"),
    start_beat=16,
    feel=FEELS["straight"],
    key=Key(0),
    is_last=False,
)


@pytest.mark.parametrize(("at", "chord"), [(0.0, C), (1.75, C), (2.0, F), (3.5, F)])
def test_the_chord_is_the_one_that_began_last(at: float, chord: Chord) -> None:
    assert BAR.chord_at(at) == chord


def test_a_pushing_feel_takes_the_coming_chord_early() -> None:
    pushed = dataclasses.replace(BAR, feel=FEELS["push"])

    assert (pushed.chord_at(3.25), pushed.chord_at(3.5)) == (F, G)


def test_positions_count_felt_beats_from_bar_one() -> None:
    in_six = dataclasses.replace(BAR, meter=MeterSign.parse("6/8"), start_beat=8)

    assert BAR.beat_at(1.5) == Fraction(35, 2)
    assert in_six.beat_at(1.5) == 9
    assert (BAR.quarters, in_six.quarters) == (4.0, 3.0)


def test_swing_moves_the_off_beat_and_keeps_the_beat() -> None:
    swung = dataclasses.replace(BAR, feel=FEELS["shuffle"])

    assert swung.beat_at(1.0) == 17
    assert swung.beat_at(1.5) == 17 + FEELS["shuffle"].swing


def test_some_players_rest_in_some_sections_but_never_in_the_last_bar() -> None:
    intro = dataclasses.replace(BAR, label="intro")

    assert (BAR.plays("bass"), intro.plays("bass"), intro.plays("keys")) == (True, False, True)
    assert dataclasses.replace(intro, is_last=True).plays("bass")


def test_a_section_grows_towards_its_end() -> None:
    assert dataclasses.replace(BAR, index=7).loudness > BAR.loudness
    assert dataclasses.replace(BAR, label="chorus").loudness > BAR.loudness


def test_the_bar_line_is_leaned_on() -> None:
    hard = [np.mean([touch(BAR, at, np.random.default_rng(seed)) for seed in range(200)]) for at in (0, 2.0, 1.0)]

    assert hard == sorted(hard, reverse=True)


def test_a_note_is_never_silent_or_louder_than_full() -> None:
    assert BAR.note(0, 1, 60, 0.0).velocity == 0.05
    assert BAR.note(0, 1, 60, 2.0).velocity == 1.0
