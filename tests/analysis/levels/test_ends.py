"""Levels by arithmetic: noise of known RMS in known pieces."""

import numpy as np
import pytest

from analysis.levels.ends import EndsMeter
from tests import signals
from tests.analysis.levels.meters import feed


def test_the_quietest_piece_and_the_last() -> None:
    samples = np.concatenate([signals.noise(rms=rms, duration_s=1.0) for rms in (0.1, 0.001, 0.03)])

    ends = feed(EndsMeter(48_000, 1), samples).finish()

    assert ends.floor == pytest.approx(0.001, rel=0.1)
    assert ends.last == pytest.approx(0.03, rel=0.1)


def test_a_quarter_of_the_pieces() -> None:
    """Three in ten pieces at 0.001: a quarter lies under the quietest three in ten's own level."""
    samples = np.concatenate([signals.noise(rms=rms, duration_s=1.0) for rms in [0.001] * 3 + [0.1] * 7])

    ends = feed(EndsMeter(48_000, 1), samples).finish()

    assert ends.quarter == pytest.approx(0.001, rel=0.1)


def test_an_offset_is_no_noise_and_silence_no_floor() -> None:
    samples = np.concatenate(
        [signals.silence(duration_s=0.3), signals.noise(rms=0.001) + 0.2, signals.noise(rms=0.1) + 0.2]
    )

    assert feed(EndsMeter(48_000, 1), samples).finish().floor == pytest.approx(0.001, rel=0.1)


def test_a_gated_track_has_no_floor() -> None:
    samples = np.concatenate([signals.noise(), signals.silence(), signals.noise(seed=1)])

    assert feed(EndsMeter(48_000, 1), samples).finish().floor is None


def test_nothing_is_heard_of_silence() -> None:
    assert feed(EndsMeter(48_000, 1), signals.silence()).finish().floor is None
