"""Energy and onsets fall into the bands that sound."""

import numpy as np
import pytest

from analysis.core.samples import Floats
from analysis.features.bands import BAND_COUNT, BAND_EDGES_HZ, BandAccumulator
from tests import signals


def taken(samples: Floats, rate_hz: int = 48_000) -> tuple[Floats, Floats]:
    bands = BandAccumulator(rate_hz)
    bands.add(samples)
    return bands.finish()


def tone(hz: float, *, rate_hz: int = 48_000, amplitude: float = 0.5) -> Floats:
    return signals.tone(hz=hz, amplitude=amplitude, sample_rate_hz=rate_hz)[:, 0].astype(np.float32)


@pytest.mark.parametrize("band", range(BAND_COUNT))
@pytest.mark.parametrize("rate_hz", [44_100, 48_000, 96_000])
def test_a_tone_is_loudest_in_its_own_band(band: int, rate_hz: int) -> None:
    middle_hz = float(np.sqrt(BAND_EDGES_HZ[band] * BAND_EDGES_HZ[band + 1]))

    _, energy_db = taken(tone(middle_hz, rate_hz=rate_hz), rate_hz)

    assert energy_db[20:-20].mean(axis=0).argmax() == band


def test_half_the_amplitude_is_six_decibels_less() -> None:
    loud, soft = (taken(tone(500.0, amplitude=amplitude))[1][50, 2] for amplitude in (0.5, 0.25))

    assert loud - soft == pytest.approx(6.02, abs=0.01)


def test_there_is_a_frame_every_ten_milliseconds() -> None:
    strength, energy_db = taken(tone(500.0))

    assert BandAccumulator(48_000).rate_hz == 100.0
    assert strength.shape == energy_db.shape == (101, BAND_COUNT)


def test_only_the_start_of_a_tone_is_an_onset() -> None:
    strength, _ = taken(np.concatenate([np.zeros(24_000, np.float32), tone(500.0)]))

    rise = strength[:, 2]
    assert 46 <= rise.argmax() <= 52
    assert rise[60:140].max() < 0.01 * rise.max()


def test_silence_lies_at_the_floor() -> None:
    strength, energy_db = taken(np.zeros(48_000, np.float32))

    assert strength.max() == 0.0
    assert energy_db == pytest.approx(np.full_like(energy_db, -120.0))
