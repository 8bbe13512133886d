"""The period that all attacks of the song agree on, sharper than the grid's own fit.

The fitted line trusts the places it started from; where the sound of the band changes within the song, attacks move by
some milliseconds and the line tilts. Two other views lean on less: attacks summed as impulses have no places to be
wrong about, and lines for each quarter of the beat and each voice let every player sit where they sit. Their errors
differ, so their mean is better than either (measured: 96 and 84 to 80 millionths).
"""

from __future__ import annotations

import numpy as np

from analysis.core.samples import Doubles, Indices
from analysis.tempo.evidence import Evidence
from analysis.tempo.grid import GridFit

# House choices. Impulses: harmonics summed, the scatter of players that
# dims the higher ones, and how far around the fit, in its errors, and in how many steps the peak is looked for.
_HARMONICS = 12
_SCATTER_S = 0.012
_REACH_ERRORS = 4.0
_STEPS = 61
# Lines: one each quarter of the beat that holds this share of the weight; rounds of numbering the beats and of trusting
# outliers less, beyond so many scales; a scale stays between these two. Views that differ by more than the last number,
# a share, are not averaged (house choices).
_SLOTS = 4
_ROUNDS, _TRUST_ROUNDS = 2, 8
_LEAST_SLOT_SHARE = 0.004
_LEAST_SCALE_S, _MOST_SCALE_S = 0.003, 0.015
_FAR_SCALES = 2.2
_MOST_CHANGE = 0.001


def refined_bpm(evidence: Evidence, fit: GridFit, beat_s: float) -> float:
    """The mean of both views, or the impulses' alone where the lines went astray.

    Parameters
    ----------
    evidence : Evidence
    fit : GridFit
        The grid to refine, with its error.
    beat_s : float
        The time of some beat, in seconds.

    Returns
    -------
    float
        Beats a minute.
    """
    gathered = impulse_bpm(evidence, fit)
    lined = line_bpm(evidence, fit.bpm, beat_s)
    return (gathered + lined) / 2 if abs(lined / gathered - 1) < _MOST_CHANGE else gathered


def impulse_bpm(evidence: Evidence, fit: GridFit) -> float:
    """The tempo near the fit at which the attacks' impulses add up highest; the fit's own where no peak is near."""
    hz = np.linspace(-1, 1, _STEPS) * _REACH_ERRORS * fit.bpm_error / 60 + fit.bpm / 60
    since = evidence.onset_s - np.average(evidence.onset_s, weights=evidence.onset_weight)
    turn = np.exp(-2j * np.pi * np.multiply.outer(hz, since))
    power, total = turn.copy(), np.zeros(_STEPS)
    for order in range(1, _HARMONICS + 1):
        trust = np.exp(-((2 * np.pi * order * hz * _SCATTER_S) ** 2))
        total += trust * np.abs(power @ evidence.onset_weight) ** 2
        power *= turn
    top = int(np.argmax(total))
    if not 0 < top < _STEPS - 1:
        return fit.bpm
    left, middle, right = total[top - 1 : top + 2]
    shift = 0.5 * (left - right) / min(left - 2 * middle + right, -1e-12)
    return float(60 * (hz[top] + shift * (hz[1] - hz[0])))


def line_bpm(evidence: Evidence, bpm: float, beat_s: float) -> float:
    """The slope of parallel lines through the attacks, one line for each quarter of the beat and each voice.

    `bpm` must be near enough to count the song's beats; `beat_s` is the time of some beat, in seconds.
    """
    weights = np.sqrt(evidence.onset_weight) * evidence.onset_sharpness
    voice = evidence.onset_is_bass + 2 * evidence.onset_file
    period_s = 60 / bpm
    for _ in range(_ROUNDS):
        slot = np.rint((evidence.onset_s - beat_s) / period_s * _SLOTS)
        _, line = np.unique(slot % _SLOTS + _SLOTS * voice, return_inverse=True)
        share = np.bincount(line, evidence.onset_weight) / evidence.onset_weight.sum()
        kept = share[line] > _LEAST_SLOT_SHARE
        beat, line = slot[kept] / _SLOTS, line[kept]
        off_s = evidence.onset_s[kept] - beat_s - beat * period_s
        period_s += _common_slope(beat, off_s, line, weights[kept])
    return 60 / period_s


def _common_slope(beat: Doubles, off_s: Doubles, line: Indices, weights: Doubles) -> float:
    """By how much the period is too short: least squares with an intercept for each line, outliers trusted less."""
    trust, slope = weights, 0.0
    for _ in range(_TRUST_ROUNDS):
        mass = np.maximum(np.bincount(line, trust), 1e-9)
        across = beat - (np.bincount(line, trust * beat) / mass)[line]
        away_s = off_s - (np.bincount(line, trust * off_s) / mass)[line]
        slope = float((trust * across * away_s).sum() / max(float((trust * across**2).sum()), 1e-9))
        left_s = away_s - slope * across
        scale_s = float(np.clip(1.5 * np.median(np.abs(left_s)), _LEAST_SCALE_S, _MOST_SCALE_S))
        trust = weights / (1 + (left_s / (_FAR_SCALES * scale_s)) ** 2) ** 2
    return slope
