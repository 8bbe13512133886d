"""Values on a lattice: 16 bits turned down by 0.8 lie 204.8 steps of 24 bits apart, so 24 - log2(204.8) = 16.3 bits."""

import numpy as np
import pytest

from analysis.core.samples import Samples
from analysis.levels.value_steps import StepMeter
from tests import signals
from tests.analysis.levels.meters import feed


def stored(samples: Samples, bits: int) -> Samples:
    return np.asarray(np.rint(samples * 2 ** (bits - 1)) / 2 ** (bits - 1))


def test_sixteen_bits_turned_down() -> None:
    samples = stored(0.8 * stored(signals.noise(duration_s=2.0), 16), 24)

    assert feed(StepMeter(24, is_float=False), samples).finish() == pytest.approx(16.3, abs=0.1)


def test_twenty_four_bits_fill_every_step() -> None:
    bits = feed(StepMeter(24, is_float=False), stored(signals.noise(duration_s=4.0), 24)).finish()

    assert bits is not None
    assert bits > 20


@pytest.mark.parametrize(("depth", "is_float"), [(16, False), (32, True), (None, False)])
def test_other_depths_tell_nothing(depth: int | None, is_float: bool) -> None:
    assert feed(StepMeter(depth, is_float=is_float), signals.noise()).finish() is None
