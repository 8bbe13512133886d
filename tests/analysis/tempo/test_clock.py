"""A song's own clock runs both ways, and goes straight on beyond its ends."""

from __future__ import annotations

import numpy as np
import pytest

from analysis.tempo.clock import Clock

# Ten seconds in which 10 beats pass, then ten in which 20 do: 30 beats in 20 s.
REAL_S = np.array([0.0, 10.0, 20.0])
PHASE = np.array([0.0, 10.0, 30.0])


def test_beats_are_even_on_the_clock_and_the_song_keeps_its_length() -> None:
    clock = Clock.from_phase(REAL_S, PHASE)

    assert clock.to_even(np.array([0.0, 10.0, 20.0])) == pytest.approx([0, 20 / 3, 20])
    # Beats 1 and 11: one second, and 10.5 seconds into the files.
    assert np.diff(clock.to_even(np.array([0.0, 1.0, 10.0, 10.5]))) == pytest.approx([2 / 3, 6.0, 2 / 3])


def test_there_and_back_is_the_same_time() -> None:
    clock = Clock.from_phase(REAL_S, PHASE)
    times_s = np.array([-3.0, 0.0, 4.2, 10.0, 17.7, 25.0])

    assert clock.to_real(clock.to_even(times_s)) == pytest.approx(times_s)


def test_goes_straight_on_beyond_its_ends() -> None:
    clock = Clock.from_phase(REAL_S, PHASE)

    assert clock.to_even(np.array([-3.0, 23.0])) == pytest.approx([-2.0, 24.0])


def test_a_count_that_falls_back_is_held_level() -> None:
    clock = Clock.from_phase(REAL_S, np.array([0.0, 10.0, 9.0]))

    even_s = clock.to_even(np.linspace(0, 20, 50))

    assert (np.diff(even_s) >= 0).all()
