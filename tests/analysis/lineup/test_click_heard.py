"""A click at a known level under strokes that a human hand places: 10 ms of spread, and no wave twice."""

import numpy as np
import pytest

from analysis.core.samples import Samples
from analysis.lineup.click_heard import Bleed, BleedMeter, beats_of
from analysis.maps.tempo_map import TempoMap
from tests.analysis.levels.meters import feed

RATE_HZ, FRAMES = 48_000, 24 * 48_000
TEMPO_MAP = TempoMap.constant("120", "4/4")


def played(seed: int = 1) -> Samples:
    """A hat on every eighth, peaking near -10 dBFS, over hiss at -80 dBFS."""
    rng = np.random.default_rng(seed)
    out = rng.standard_normal(FRAMES) * 1e-4
    stroke = np.exp(-np.arange(6_000) / 1_000)
    for at in range(12_000, FRAMES - 12_000, 12_000):
        start = at + round(rng.normal(0, 0.010) * RATE_HZ)
        out[start : start + 6_000] += 0.1 * rng.standard_normal(6_000) * stroke
    return out[:, None]


def click(peak_dbfs: float) -> Samples:
    time = np.arange(1_000) / RATE_HZ
    sound = np.sin(2 * np.pi * 1_600 * time) * np.exp(-time / 0.005)
    out = np.zeros(FRAMES)
    for beats in beats_of(TEMPO_MAP, RATE_HZ, FRAMES - 2_000):
        for frame in beats:
            out[frame + 100 : frame + 1_100] += sound
    return np.asarray(out[:, None] * 10 ** (peak_dbfs / 20) / np.abs(out).max())


def heard(samples: Samples, **options: int) -> Bleed:
    return feed(BleedMeter(beats_of(TEMPO_MAP, RATE_HZ, FRAMES), RATE_HZ), samples, **options).finish()


def test_beats_are_the_maps() -> None:
    firsts, others = beats_of(TEMPO_MAP, RATE_HZ, 5 * 48_000)

    assert firsts.tolist() == [0, 96_000, 192_000]
    assert others[:4].tolist() == [24_000, 48_000, 72_000, 120_000]


@pytest.mark.parametrize("level_dbfs", [-40.0, -60.0])
def test_the_level_of_a_click_under_strokes(level_dbfs: float) -> None:
    found = heard(played() + click(level_dbfs)).level

    assert found is not None
    assert 20 * np.log10(found) == pytest.approx(level_dbfs, abs=3)


def test_bars_after_the_clicks_end_do_not_hide_it() -> None:
    samples = played() + click(-40.0)
    samples[20 * RATE_HZ :] = played(seed=5)[20 * RATE_HZ :] * 1e-3
    found = heard(samples).level

    assert found is not None
    assert 20 * np.log10(found) == pytest.approx(-40, abs=3)


@pytest.mark.parametrize("seed", range(2))
def test_strokes_on_the_same_grid_are_no_click(seed: int) -> None:
    bleed = heard(played(seed))

    assert bleed.level is None
    assert bleed.heard_from is not None


def test_blocks_may_end_anywhere() -> None:
    samples = played() + click(-50.0)

    assert heard(samples, block_frames=65_536).level == pytest.approx(heard(samples, block_frames=999).level)


def test_a_click_that_strokes_cover_is_not_said_to_be_absent() -> None:
    """In this part only three beats are quiet where the click lies (seen); the click at -60 dBFS stays unheard."""
    bleed = heard(played(seed=2) + click(-60.0))

    assert bleed.level is None
    assert bleed.heard_from is not None
    assert bleed.heard_from > 10 ** (-60 / 20)
