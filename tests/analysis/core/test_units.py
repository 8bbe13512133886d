from decimal import Decimal
from fractions import Fraction
from typing import SupportsFloat

import pytest

from analysis.core.units import amplitude_from_db, dbfs_from_amplitude, in_figures, seconds_as_clock, tempo_in_figures


@pytest.mark.parametrize(("amplitude", "level_dbfs"), [(1.0, 0.0), (0.5, -6.0206), (10.0, 20.0), (1e-5, -100.0)])
def test_levels_and_amplitudes_are_each_other_s_inverse(amplitude: float, level_dbfs: float) -> None:
    assert dbfs_from_amplitude(amplitude) == pytest.approx(level_dbfs, abs=1e-4)
    assert amplitude_from_db(level_dbfs) == pytest.approx(amplitude, rel=1e-4)


def test_silence_has_no_level() -> None:
    assert dbfs_from_amplitude(0.0) is None


@pytest.mark.parametrize(
    ("time_s", "clock"),
    [(0.0, "0:00.0"), (9.94, "0:09.9"), (10.0, "0:10"), (67.4, "1:07"), (3_599.6, "1:00:00"), (3_727.0, "1:02:07")],
)
def test_times_are_written_as_players_say_them(time_s: float, clock: str) -> None:
    assert seconds_as_clock(time_s) == clock


@pytest.mark.parametrize(
    ("bpm", "words"), [(112.0, "112"), (98.7654, "98.765"), (92.50, "92.5"), (Decimal("120"), "120"), (100, "100")]
)
def test_a_tempo_is_shown_with_three_decimals_at_most(bpm: SupportsFloat, words: str) -> None:
    assert tempo_in_figures(bpm) == words


@pytest.mark.parametrize(
    ("value", "most_decimals", "text"),
    [(Fraction(1, 3), 4, "0.3333"), (100.0, 0, "100"), (-0.00001, 4, "0"), (0.5, 1, "0.5")],
)
def test_zeros_that_say_nothing_are_left_out(value: SupportsFloat, most_decimals: int, text: str) -> None:
    assert in_figures(value, most_decimals) == text
