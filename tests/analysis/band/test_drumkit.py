"""Each piece of the kit sounds like what it is, at any rate."""

from __future__ import annotations

import numpy as np
import pytest

from analysis.band.drumkit import KIT, KIT_PAN
from analysis.band.tables import Tone
from analysis.band.voices import Strike


def hit(piece: str, *, velocity: float = 1.0, rate: int = 48_000, take: int = 0) -> Tone:
    return KIT[piece](Strike(0, velocity, 1.0, rate, take))


def loudest_hz(tone: Tone, rate: int = 48_000) -> float:
    return float(np.abs(np.fft.rfft(tone)).argmax() * rate / len(tone))


def middle_hz(tone: Tone, rate: int = 48_000) -> float:
    """The frequency with half of the power below it."""
    power = np.cumsum(np.abs(np.fft.rfft(tone)) ** 2)
    return float(np.searchsorted(power, power[-1] / 2) * rate / len(tone))


def test_low_drums_are_low_and_cymbals_high() -> None:
    assert loudest_hz(hit("kick")) < 80
    assert loudest_hz(hit("tom-low")) == pytest.approx(98, abs=12)
    assert loudest_hz(hit("tom-high")) == pytest.approx(158, abs=20)
    assert 150 < middle_hz(hit("snare")) < 4_000
    assert min(middle_hz(hit(piece)) for piece in ("hat", "open", "ride", "crash")) > 4_000


def test_a_closed_hat_is_shorter_than_an_open_one_and_a_crash_is_longest() -> None:
    sounding_s = [np.flatnonzero(np.abs(hit(piece)) > 0.02)[-1] / 48_000 for piece in ("hat", "open", "crash")]

    assert sounding_s == sorted(sounding_s)
    assert sounding_s[0] < 0.12 < 0.3 < sounding_s[1]


@pytest.mark.parametrize("piece", KIT)
def test_a_soft_hit_is_softer_and_takes_are_no_copies(piece: str) -> None:
    hard, soft = hit(piece), hit(piece, velocity=0.3)

    assert np.abs(soft).max() < 0.6 * np.abs(hard).max()
    assert np.abs(hard).max() < 1.3
    # Two sticks are struck alike each time; every other piece has noise of its own.
    assert np.array_equal(hard, hit(piece, take=1)) == (piece == "stick")


@pytest.mark.parametrize("piece", KIT)
def test_a_piece_keeps_its_pitch_and_length_at_another_rate(piece: str) -> None:
    assert len(hit(piece, rate=96_000)) == pytest.approx(2 * len(hit(piece)), abs=2)
    assert np.isfinite(hit(piece, rate=22_050)).all()


def test_every_piece_has_its_place_in_the_mix() -> None:
    assert set(KIT_PAN) == set(KIT)
    assert all(-1 <= place <= 1 for place in KIT_PAN.values())
