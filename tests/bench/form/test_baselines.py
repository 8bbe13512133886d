"""The published methods find a border that nobody can miss."""

import numpy as np

from analysis.form.bar_rows import SLOTS, BarRows
from bench.form.baselines import agglomerative, checkerboard

BARS, BORDER = 20, 9


def two_sections() -> BarRows:
    """Nine bars of one harmony and eleven louder ones of another, with a little chance in each."""
    rng = np.random.default_rng(2)
    harmony = rng.normal(0, 0.05, (BARS, SLOTS, 12))
    harmony[:BORDER, :, 0] += 1.0
    harmony[BORDER:, :, 5] += 1.0
    level_db = rng.normal(-20, 0.5, (BARS, SLOTS, 6))
    level_db[BORDER:] += 6.0
    return BarRows(
        harmony=harmony,
        bass=harmony,
        strokes=np.zeros((BARS, 16, 6)),
        level_db=level_db,
        loudness_db=np.zeros(BARS),
        players=np.zeros((BARS, 1)),
    )


def test_agglomerative_segmentation_cuts_where_the_harmony_changes() -> None:
    assert agglomerative(two_sections(), sections=2) == [BORDER]


def test_the_novelty_is_highest_there() -> None:
    assert checkerboard(two_sections(), half=4, least=2.0) == [BORDER]
