import itertools
from dataclasses import replace
from fractions import Fraction

import numpy as np
import pytest

from analysis.band.clock import Steady
from analysis.band.feels import FEELS
from analysis.band.score import SongPlan, steady, write_score

PLAN = steady("Five Mugs Without Shelf", 5, 112, players=("bass", "keys", "strings", "pad", "lead", "drums", "click"))


def test_the_same_seed_plays_the_same_notes_at_the_same_times() -> None:
    one, two = write_score(PLAN), write_score(PLAN)

    assert one.notes == two.notes
    assert all(np.array_equal(one.starts_s[name], two.starts_s[name]) for name in one.notes)


def test_another_seed_plays_something_else() -> None:
    assert write_score(PLAN).notes["lead"] != write_score(replace(PLAN, seed=6)).notes["lead"]


def test_the_band_plays_around_the_grid_and_not_beside_it() -> None:
    score = write_score(replace(PLAN, looseness_s=0.008))
    names = [name for name in score.notes if name != "click"]
    off_s = np.concatenate(
        [
            score.starts_s[name]
            - score.clock.times_of_beats(np.array([float(note.beat) for note in score.notes[name]]))
            - np.array([note.after_s for note in score.notes[name]])
            for name in names
        ]
    )

    assert np.median(off_s) == pytest.approx(0, abs=1e-4)
    assert 0.004 < off_s.std() < 0.016


def test_the_click_is_exact() -> None:
    score = write_score(replace(PLAN, count_in_bars=2))
    beats = [note.beat for note in score.notes["click"]]

    assert beats == [Fraction(beat) for beat in range(-8, 160)]
    assert score.starts_s["click"][8] == pytest.approx(8 * 60 / 112, abs=1e-12)
    assert [note.sound for note in score.notes["click"][:5]] == [
        "pip-accent",
        "pip-beat",
        "pip-beat",
        "pip-beat",
        "pip-accent",
    ]


def test_harmony_changes_at_bar_lines() -> None:
    score = write_score(replace(PLAN, feel="ballad"))
    pads = score.notes["pad"]

    assert {note.beat % 4 for note in pads} == {Fraction(0), Fraction(2)}  # some bars have two chords
    chords = [tuple(note.pitch % 12 for note in pads if note.beat == bar * 4) for bar in range(40)]
    assert sum(one != two for one, two in itertools.pairwise(chords)) > 20


def test_a_pickup_starts_exactly_its_beats_before_bar_one() -> None:
    score = write_score(SongPlan("Early", 1, Steady(Fraction(96)), pickup_beats=Fraction(3, 2), silence_s=Fraction(1)))

    assert score.notes["lead"][0].beat == Fraction(-3, 2)
    assert score.truth.bar_one_s == 1 + Fraction(3, 2) * Fraction(60, 96)
    # Source: arithmetic; beat 2 of the pickup bar starts one beat before bar one, the beat before it is cut by nothing.
    assert score.truth.beats_s[:3] == pytest.approx([1.9375 - 1.25, 1.9375 - 0.625, 1.9375])


def test_sticks_count_in_when_there_is_no_click() -> None:
    score = write_score(SongPlan("Sticks", 1, Steady(Fraction(96)), players=("bass", "drums"), count_in_bars=1))

    assert [note.beat for note in score.notes["drums"] if note.sound == "stick"] == [-4, -3, -2, -1]


def test_a_plan_that_nobody_can_play_is_refused() -> None:
    with pytest.raises(ValueError, match="count-in"):
        SongPlan("No one counts", 1, Steady(Fraction(96)), players=("bass",), count_in_bars=1)
    with pytest.raises(ValueError, match="pickup"):
        SongPlan("No one leads", 1, Steady(Fraction(96)), players=("bass",), pickup_beats=Fraction(1))


@pytest.mark.parametrize("feel", sorted(FEELS))
def test_every_feel_fills_its_bars_and_stays_inside_them(feel: str) -> None:
    low, high = FEELS[feel].bpm_range
    players = ("bass", "keys", "strings", "pad", "lead", "drums")
    score = write_score(steady("Feel", 3, (low + high) // 2, feel=feel, players=players))
    end = score.clock.bar_first_beats[-1]

    for name, notes in score.notes.items():
        assert notes, name
        assert all(0 <= note.beat < end for note in notes)
        assert all(0 < note.velocity <= 1 and note.length_beats > 0 for note in notes)
    assert low < high


def test_swing_delays_the_off_beat_and_nothing_else() -> None:
    score = write_score(steady("Swung", 3, 120, feel="shuffle", players=("strings",)))
    places = {note.beat % 1 for note in score.notes["strings"]}

    assert places == {Fraction(0), Fraction(131, 200)}
