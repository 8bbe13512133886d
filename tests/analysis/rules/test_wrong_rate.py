"""Tempo ratios that a wrong sample rate would explain."""

from __future__ import annotations

from fractions import Fraction

import pytest

from analysis.rules.wrong_rate import RateConfusion, suspected_rates

# Derived: played rate over made rate; what 112 BPM becomes.
SIGNATURES = [
    (102.900, RateConfusion(48_000, 44_100)),
    (121.905, RateConfusion(44_100, 48_000)),
    (111.888, RateConfusion(48_000, 47_952)),
]


@pytest.mark.parametrize(("found", "confusion"), SIGNATURES)
def test_names_the_rates(found: float, confusion: RateConfusion) -> None:
    assert suspected_rates(112, found) == confusion


def test_the_factor_is_exact() -> None:
    assert RateConfusion(48_000, 44_100).factor == Fraction(147, 160)


@pytest.mark.parametrize("found", [103.5, 112.0, 112.05, 100.0])
def test_no_hint_without_the_ratio(found: float) -> None:
    assert suspected_rates(112, found) is None


@pytest.mark.parametrize("found", [56.0, 224.0])
def test_half_and_double_are_a_matter_of_counting(found: float) -> None:
    assert suspected_rates(112, found) is None


@pytest.mark.parametrize(("off", "is_hint"), [(0.0004, True), (0.0006, False)])
def test_the_ratio_holds_within_half_a_part_in_a_thousand(off: float, is_hint: bool) -> None:
    assert (suspected_rates(112, 102.9 * (1 + off)) is not None) == is_hint


@pytest.mark.parametrize("found", [51.45, 205.8])
def test_the_found_tempo_may_be_counted_in_halves_or_doubles(found: float) -> None:
    # 112 made at 48 kHz and played at 44.1 kHz is 102.9; half and double of it are the same pulse.
    assert suspected_rates(112, found) == RateConfusion(48_000, 44_100)
