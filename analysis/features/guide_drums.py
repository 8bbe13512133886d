"""Does a file already hold drums? A guess from its features, honest about how sure it is.

Drums are noise that starts at once in every band and is gone soon after. A few dozen numbers say how much a file is
like that: the balance of the bands, how far their level swings, how sharp and how simultaneous their onsets are, how
fast the highs die away. A logistic regression weighs them. `bench/files/fit_guide_drums.py` fits it on files of known
line-up, then once more on plucked, struck and muted parts alone, and on the project's own band: the first fit often
took mallets for drums. In between the answer is None. How often it is right and wrong, before and after, is in
docs/files.md, "Drums in a file".

Loops, electronic kits and hand percussion are drums too. Whether a player or a program made them is not told. Strokes
of a program that keeps to its grid scatter by 0.4 ms in a stem, of a player by 4 ms and more (the band's own drums),
but players are put on the grid and programs are made to sway, and there are no recordings of known origin to say how
often a guess from that would be wrong.
"""

from __future__ import annotations

import json
from dataclasses import dataclass
from functools import cache
from itertools import pairwise
from pathlib import Path
from typing import Any, Self

import numpy as np

from analysis.core.named_columns import by_name, values_in_order
from analysis.core.reports import Drums
from analysis.core.samples import Doubles
from analysis.core.thresholds import Limits
from analysis.features.bands import BAND_EDGES_HZ
from analysis.features.feature_arrays import Features

# All numbers here are house choices but the weights, which are fitted.
WEIGHTS = Path(__file__).with_name("guide_drums_weights.json")
MOST_SPREADS = 4.0  # standard deviations: what lies further out must not decide alone
_FEWEST_FRAMES = 400  # of 10 ms
_AUDIBLE = 1e-4  # of the loudest frame's power
_SILENT_POWER = 1e-9
_HIGH_PERCENTILE, _STRONGEST_PERCENTILE = 98, 97
_TOGETHER_PERCENTILE = 90
_FALL_FRAMES, _RISE_FRAMES = 10, 3  # after and before an onset
_PEAK_FRAMES, _ROOM_FRAMES = 4, 20  # in which its peak lies, and that must follow it
_LEVEL_PERCENTILES = (10, 50, 90, 99)
_BURST_PERCENTILES = (90, 97, 99.5)
_BANDS_THAT_DECAY = (0, 4, 5)
_BAND_PAIRS = ((5, 4), (5, 3), (5, 2), (5, 0), (0, 1), (4, 0))

_BANDS = tuple(f"{low:g} to {high:g} Hz" for low, high in pairwise(BAND_EDGES_HZ))
# The numbers that are weighed, in the order in which `drum_numbers` gives them: the weights are stored by these names.
NUMBERS = (
    *(f"level, {band}" for band in _BANDS),
    *(f"swing from low to high, {band}" for band in _BANDS),
    *(f"swing from middle to top, {band}" for band in _BANDS),
    *(f"strong onset, {band}" for band in _BANDS),
    *(f"strong onset re mean, {band}" for band in _BANDS),
    "onsets in four bands or more",
    "onsets in five bands or more",
    "onsets in one band alone",
    *(f"onsets alike, {_BANDS[one]} and {_BANDS[two]}" for one, two in _BAND_PAIRS),
    *(f"rise of every band, percentile {percentile:g}" for percentile in _BURST_PERCENTILES),
    *(f"{what}, {_BANDS[band]}" for band in _BANDS_THAT_DECAY for what in ("fall after an onset", "rise to an onset")),
    "evenness of pitch classes",
    "sharp onsets a second",
    "fine onsets a second",
)


def find_drums(features: Features, limits: Limits) -> Drums:
    """`confidence` is the probability of what `present` says."""
    probability = drum_probability(features)
    if probability is None:
        return Drums()
    if probability >= limits.drums_sure:
        return Drums(present=True, confidence=probability)
    if probability <= 1.0 - limits.drums_sure:
        return Drums(present=False, confidence=1.0 - probability)
    return Drums(present=None, confidence=max(probability, 1.0 - probability))


def drum_probability(features: Features) -> float | None:
    """How likely the file holds drums, from 0 to 1; None when there is too little sound."""
    numbers = drum_numbers(features)
    return None if numbers is None else _probability(numbers)


def _probability(numbers: Doubles) -> float:
    model = _stored_model()
    scaled = (numbers - model.means) / model.scales
    score = float(np.clip(scaled, -MOST_SPREADS, MOST_SPREADS) @ model.weights + model.constant)
    return 1.0 / (1.0 + float(np.exp(-score)))


@dataclass(frozen=True)
class DrumModel:
    """A logistic regression over `NUMBERS`, each standardised by its mean and scale first."""

    means: Doubles
    scales: Doubles
    weights: Doubles
    constant: float

    @classmethod
    def load(cls, path: Path) -> Self:
        """Read what `save` wrote. Raises ValueError when its columns are not `NUMBERS`."""
        data = json.loads(path.read_text("utf-8"))
        means, scales, weights = (values_in_order(data[part], NUMBERS) for part in ("means", "scales", "weights"))
        return cls(means, scales, weights, float(data["constant"]))

    def save(self, path: Path) -> None:
        """Write each column's numbers by its name, to six decimals."""
        columns = {"means": self.means, "scales": self.scales, "weights": self.weights}
        data: dict[str, Any] = {part: by_name(NUMBERS, values, digits=6) for part, values in columns.items()}
        data["constant"] = round(self.constant, 6)
        path.write_text(json.dumps(data, indent=1) + "\n", "utf-8")


@cache
def _stored_model() -> DrumModel:
    return DrumModel.load(WEIGHTS)


def drum_numbers(features: Features) -> Doubles | None:
    """The numbers that are weighed.

    Parameters
    ----------
    features : Features

    Returns
    -------
    float64 array, shape (51,), or None
        In the order of `NUMBERS`. None when there is too little sound.
    """
    levels_db = np.asarray(features.band_energy_db, np.float64)
    onsets = np.asarray(features.onset_strength, np.float64)
    powers = 10.0 ** (levels_db / 10.0)
    total = powers.sum(axis=1)
    audible = total > max(float(total.max(initial=0.0)) * _AUDIBLE, _SILENT_POWER)
    if np.count_nonzero(audible) < _FEWEST_FRAMES:
        return None
    levels_db, onsets, powers = levels_db[audible], onsets[audible], powers[audible]
    numbers = [
        *_balance_db(powers),
        *_swing_db(levels_db),
        *_onset_sharpness(onsets),
        *_coincidence(onsets),
        *_bursts(onsets),
        *_attack_and_decay(levels_db, onsets),
        *_rates(features),
    ]
    return np.nan_to_num(np.array(numbers, np.float64))


def _balance_db(powers: Doubles) -> Doubles:
    means = powers.mean(axis=0)
    return np.asarray(10.0 * np.log10(means / means.sum() + 1e-12))


def _swing_db(levels_db: Doubles) -> Doubles:
    low, middle, high, top = _percentiles(levels_db, _LEVEL_PERCENTILES)
    return np.concatenate([high - low, top - middle])


def _percentiles(values: Doubles, wanted: tuple[int, ...]) -> Doubles:
    """Of each column; a column that lies in one piece is sorted in half the time."""
    return np.asarray(np.percentile(np.ascontiguousarray(values.T), wanted, axis=1))


def _onset_sharpness(onsets: Doubles) -> Doubles:
    (top,) = _percentiles(onsets, (_HIGH_PERCENTILE,))
    return np.concatenate([np.log(top + 1e-6), top / (onsets.mean(axis=0) + 1e-9)])


def _coincidence(onsets: Doubles) -> list[float]:
    """How often bands start together, and how alike their onsets run."""
    together = (onsets > _percentiles(onsets, (_TOGETHER_PERCENTILE,))).sum(axis=1)
    shares = [float(np.mean(together >= 4)), float(np.mean(together >= 5)), float(np.mean(together == 1))]
    centred = onsets - onsets.mean(axis=0)
    norms = np.sqrt((centred**2).sum(axis=0)) + 1e-9
    return shares + [float(centred[:, one] @ centred[:, two] / (norms[one] * norms[two])) for one, two in _BAND_PAIRS]


def _bursts(onsets: Doubles) -> Doubles:
    """How strongly every band rises within a frame of the others."""
    near = np.pad(onsets, ((1, 1), (0, 0)))
    near = np.maximum(np.maximum(near[:-2], near[2:]), onsets)
    return np.asarray(np.log(np.percentile(near.min(axis=1), _BURST_PERCENTILES) + 1e-3))


def _attack_and_decay(levels_db: Doubles, onsets: Doubles) -> list[float]:
    """For the strongest onsets of a band: fall within 100 ms after the peak, and rise from 30 ms before."""
    numbers: list[float] = []
    for band in _BANDS_THAT_DECAY:
        level, strength = levels_db[:, band], onsets[:, band]
        places = np.flatnonzero(strength >= np.percentile(strength, _STRONGEST_PERCENTILE))
        places = places[(places >= _RISE_FRAMES) & (places < len(level) - _ROOM_FRAMES)]
        if not len(places):
            numbers += [0.0, 0.0]
            continue
        peaks = np.max([level[places + step] for step in range(_PEAK_FRAMES)], axis=0)
        before, after = level[places - _RISE_FRAMES], level[places + _FALL_FRAMES]
        numbers += [float(np.median(peaks - after)), float(np.median(peaks - before))]
    return numbers


def _rates(features: Features) -> list[float]:
    """How even the pitch classes are (noise has all of them alike), and sharp and other onsets a second."""
    chroma = features.chroma[features.chroma.sum(axis=1) > 0]
    shares = chroma / chroma.sum(axis=1, keepdims=True)
    evenness = float(np.mean(-(shares * np.log(shares + 1e-12)).sum(axis=1))) if len(chroma) else 0.0
    length_s = max(features.duration_s, 1.0)
    return [evenness, len(features.sharp.times_s) / length_s, len(features.fine.times_s) / length_s]
