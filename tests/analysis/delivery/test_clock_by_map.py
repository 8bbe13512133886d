"""What a measured tempo leaves open of the clock: 120 BPM of the map against 119.988 played is 100 ppm (arithmetic)."""

import pytest

from analysis.delivery.check_results import Check
from analysis.delivery.tempo_checks import clock_by_map


def tempo(bpm: float, half: float) -> Check:
    return Check("tempo", None, passed=True, value=bpm, limit=120.0, low=bpm - half, high=bpm + half)


def test_a_long_song_with_a_close_interval_decides() -> None:
    """60 s: 0.012 BPM either way is 100 ppm, 6 ms at the end."""
    check = clock_by_map(tempo(120.0, 0.012), 60.0)

    assert (check.passed, check.undecided) == (True, False)
    assert check.low == pytest.approx(-100, abs=1)
    assert check.high == pytest.approx(100, abs=1)


@pytest.mark.parametrize(("bpm", "half"), [(119.988, 0.001), (120.0, 0.06)])
def test_drums_that_end_late_or_loosely_assure_of_nothing(bpm: float, half: float) -> None:
    """Over 200 s, 100 ppm are 20 ms: a slow clock or a player, nobody can tell."""
    check = clock_by_map(tempo(bpm, half), 200.0)

    assert check.undecided
    assert check.low is not None


def test_without_one_tempo_nobody_can_tell() -> None:
    assert clock_by_map(Check("tempo", None, passed=True, value=120.0, limit=120.0), 200.0).undecided
    assert clock_by_map(Check("tempo", None, passed=True, undecided=True), 200.0).undecided
