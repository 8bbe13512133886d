"""Pitch classes, in the bass and in the middle."""

import numpy as np
import pytest

from analysis.core.framing import Decimator, lowering_factor
from analysis.core.samples import Floats
from analysis.features.harmony import FRAMES_PER_SECOND, HarmonyAccumulator
from tests import signals


def taken(hz: float, rate_hz: int) -> tuple[Floats, Floats]:
    decimator, harmony = Decimator(lowering_factor(rate_hz)), HarmonyAccumulator(rate_hz)
    samples = signals.tone(hz=hz, duration_s=2.0, sample_rate_hz=rate_hz)[:, 0].astype(np.float32)
    harmony.add(decimator.lower(samples))
    return harmony.finish(decimator.last())


@pytest.mark.parametrize("rate_hz", [44_100, 48_000, 96_000])
@pytest.mark.parametrize("pitch_class", range(12))
def test_a_tone_has_its_own_pitch_class(pitch_class: int, rate_hz: int) -> None:
    hz = 440.0 * 2 ** ((pitch_class - 9) / 12)

    _, middle = taken(hz, rate_hz)

    assert middle[5:-5].mean(axis=0).argmax() == pitch_class


def test_a_low_tone_is_bass_and_a_high_one_is_not() -> None:
    low_bass, low_middle = taken(65.41, 48_000)
    high_bass, high_middle = taken(1_046.5, 48_000)

    assert low_bass[5:-5].mean() > 20 * low_middle[5:-5].mean()
    assert high_middle[5:-5].mean() > 20 * high_bass[5:-5].mean()


def test_there_are_about_twenty_frames_a_second() -> None:
    bass, middle = taken(440.0, 48_000)

    assert HarmonyAccumulator(48_000).rate_hz == pytest.approx(FRAMES_PER_SECOND, rel=0.01)
    assert bass.shape == middle.shape == (41, 12)


def test_silence_has_no_pitch() -> None:
    harmony = HarmonyAccumulator(48_000)

    bass, middle = harmony.finish(np.zeros(6_000, np.float32))

    assert bass.max() == middle.max() == 0.0
