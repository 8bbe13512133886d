"""A passage of noise that stands there again, bit for bit: noise never repeats itself by chance."""

import numpy as np
import pytest

from analysis.levels.repeats import RepeatMeter
from tests import signals
from tests.analysis.levels.meters import feed


def test_a_passage_that_stands_there_twice() -> None:
    samples = signals.noise(duration_s=6.0).astype(np.float32)
    samples[200_000:248_000] = samples[30_001:78_001]

    repeat = feed(RepeatMeter(48_000), samples).finish()

    assert repeat is not None
    assert repeat.again_s == pytest.approx(200_000 / 48_000, abs=0.1)
    assert repeat.again_s - repeat.first_s == pytest.approx((200_000 - 30_001) / 48_000, abs=1e-6)
    assert repeat.length_s == pytest.approx(1.0, abs=0.15)


def test_the_same_passage_a_little_louder_is_not_the_same() -> None:
    samples = signals.noise(duration_s=6.0).astype(np.float32)
    samples[200_000:248_000] = samples[30_001:78_001] * np.float32(1.01)

    assert feed(RepeatMeter(48_000), samples).finish() is None
