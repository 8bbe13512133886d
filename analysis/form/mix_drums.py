"""Whether a file strikes like drums on the song's grid, in a mix too: a few numbers and a logistic regression.

Drums in a mix are heard by what is struck on the grid and dies away: far up, where few other sounds reach, and in the
lowest band beside the middle. The guess from the file's sound alone (`guide_drums.py`) is one number of them. The
weights are fitted by `bench/form/fit_mix_drums.py` on mixes of known line-up, some with noise at every attack.
"""

from __future__ import annotations

import json
from functools import cache
from pathlib import Path

import numpy as np

from analysis.core.linear_model import LinearModel
from analysis.core.samples import Doubles
from analysis.features.feature_arrays import Features
from analysis.features.guide_drums import drum_probability
from analysis.form.drum_strokes import drum_jumps
from analysis.form.slots import Slots

WEIGHTS = Path(__file__).with_name("mix_drums_weights.json")
# In the order in which `mix_numbers` gives them, all but the first in decibels: the weights are stored by these names.
MIX_NUMBERS = (
    "odds by sound",
    "level from 6 kHz re 2.5 to 6 kHz",
    "strong strokes below 120 Hz re 300 to 900 Hz",
    "strokes below 120 Hz re 120 to 300 Hz",
    "strokes from 6 kHz re 300 to 900 Hz",
)
# Log odds from which on it is said to strike like drums: a groove that nobody plays is worse than one that is missed.
# Of mixes kept apart in fitting 57 of 68 with drums lie above and none of 68 without; with noise at every attack 10 of
# 12 and 2 of 24.
LEAST_LOG_ODDS = 0.6
# Bands, and which of the slots are strong in the highest and in the lowest one (house choices).
_LOWEST, _LOW, _MIDDLE, _BRIGHT, _HIGHEST = 0, 1, 2, 4, 5
_STRONG, _STRONG_HIGH, _STRONG_LOW = 90, 80, 85  # percentiles
_SURE = 1e-3
_TINY, _TINY_POWER = 1e-9, 1e-12


def strikes_like_drums(grid: Slots, features: Features) -> bool:
    """Whether a file's sound and its strokes on the grid say together that it holds drums."""
    numbers = mix_numbers(grid, features)
    return numbers is not None and bool(_stored_model().log_odds(numbers[None, :])[0] > LEAST_LOG_ODDS)


@cache
def _stored_model() -> LinearModel:
    return LinearModel.from_json(json.loads(WEIGHTS.read_text("utf-8")), MIX_NUMBERS)


def mix_numbers(grid: Slots, features: Features) -> Doubles | None:
    """The numbers that are weighed.

    Parameters
    ----------
    grid : Slots
    features : Features

    Returns
    -------
    float64 array, shape (5,), or None
        In the order of `MIX_NUMBERS`. None when there is too little sound, or none that is struck.
    """
    probability = drum_probability(features)
    jumps = drum_jumps(grid, [features])[grid.inside]
    if probability is None or not jumps.any():
        return None
    held = float(np.clip(probability, _SURE, 1 - _SURE))
    power = (10 ** (np.asarray(features.band_energy_db, np.float64) / 10)).mean(axis=0)
    strong = np.percentile(jumps, _STRONG, axis=0)
    low = jumps[jumps[:, _LOWEST] >= np.percentile(jumps[:, _LOWEST], _STRONG_LOW)]
    high = jumps[jumps[:, _HIGHEST] >= np.percentile(jumps[:, _HIGHEST], _STRONG_HIGH)]
    return np.array(
        [
            np.log(held / (1 - held)),
            10 * np.log10((power[_HIGHEST] + _TINY_POWER) / (power[_BRIGHT] + _TINY_POWER)),
            _re(strong[_LOWEST], strong[_MIDDLE]),
            float(np.median(_re(low[:, _LOWEST], low[:, _LOW]))),
            float(np.median(_re(high[:, _HIGHEST], high[:, _MIDDLE]))),
        ]
    )


def _re(one: Doubles, two: Doubles) -> Doubles:
    decibels: Doubles = 20 * np.log10((one + _TINY) / (two + _TINY))
    return decibels
