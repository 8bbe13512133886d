"""Energy by the millisecond, sharp onsets to the sample, and the bass apart from the rest."""

import numpy as np
import pytest

from analysis.core.framing import Decimator, lowering_factor
from analysis.core.samples import Doubles, Floats
from analysis.features.onsets import EnergyAccumulator, FineOnsets, SharpOnsets
from tests import signals

RATE_HZ = 48_000


def taken(samples: Doubles) -> tuple[Floats, FineOnsets, SharpOnsets]:
    decimator, energy = Decimator(lowering_factor(RATE_HZ)), EnergyAccumulator(RATE_HZ)
    mono = samples.astype(np.float32)
    energy.add(mono, decimator.lower(mono))
    return energy.finish(decimator.last())


def test_energy_is_the_mean_square_of_each_millisecond() -> None:
    samples = np.repeat([0.0, 0.5, 0.25, 0.0], 48)

    energy, _, _ = taken(samples)

    assert energy[:4].tolist() == [0.0, 0.25, 0.0625, 0.0]


def test_clicks_out_of_silence_are_sharp_onsets_at_their_first_frame() -> None:
    track = signals.click_track(beats=6, first_frame=4_321)

    _, _, sharp = taken(track.samples[:, 0].astype(np.float64))

    assert sharp.times_s * RATE_HZ == pytest.approx(track.frames, abs=1)
    assert sharp.peak[0] == pytest.approx(0.5, abs=0.01)
    assert sharp.ratio.min() > 1_000


def test_a_sound_that_grows_slowly_has_no_sharp_onset() -> None:
    swell = signals.tone(hz=200.0, duration_s=2.0)[:, 0].astype(np.float64) * np.linspace(0, 1, 2 * RATE_HZ)

    assert len(taken(swell)[2].times_s) == 0


def test_a_bass_note_rises_in_the_bass() -> None:
    time_s = np.arange(RATE_HZ) / RATE_HZ
    note = np.sin(2 * np.pi * 60 * time_s) * np.minimum(1, time_s / 0.02) * np.exp(-time_s / 0.2)

    _, fine, _ = taken(np.concatenate([np.zeros(RATE_HZ // 2), 0.5 * note]))

    bass = fine.band == 1
    strongest = fine.times_s[bass][fine.strength[bass].argmax()]
    assert strongest == pytest.approx(0.5, abs=0.025)


def test_fine_onsets_are_in_order_and_silence_has_none() -> None:
    _, fine, _ = taken(signals.click_track(beats=6, first_frame=4_321).samples[:, 0].astype(np.float64))
    _, nothing, no_sharp = taken(np.zeros(RATE_HZ))

    assert (np.diff(fine.times_s) >= 0).all()
    assert len(nothing.times_s) == len(no_sharp.times_s) == 0
