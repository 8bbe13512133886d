"""Does the set's rhythm fit what the client sent best where it lies?

Each stretch of the song must fit better elsewhere, again and again, before anything is said.

Tested in `tests/analysis/delivery/test_verify_rhythm.py`.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from analysis.core.samples import Doubles
from analysis.core.sentences import written
from analysis.core.thresholds import Limits
from analysis.delivery.check_results import Check
from analysis.features.feature_arrays import Features
from analysis.features.guide_drums import drum_probability
from analysis.given_grid.click_track import find_click

# How far away the rhythm is looked for (three bars of 4/4 at 120), in stretches of this length, and the fewest of them
# (house choices).
_LONGEST_RHYTHM_LAG_S = 6.0
_STRETCH_S = 8.0
_FEWEST_STRETCHES = 4
# How many standard errors better the stretches must fit elsewhere (house choice).
_SURELY_ELSEWHERE = 4.0


def fits_originals(
    drums: Sequence[Features], originals: Sequence[Features], limits: Limits, *, zero_s: float = 0.0
) -> Check:
    """Does the set's rhythm fit the client's files best where it lies, or a beat or some bars beside it?

    Parameters
    ----------
    drums, originals : sequence of Features
        Of the tracks, and of the client's files. Clicks among them are left out.
    limits : Limits
    zero_s : float
        How much later than the client's files the tracks were agreed to begin.
    """
    music = [features for features in originals if find_click(features) is None]
    played = [features for features in drums if find_click(features) is None]
    if not music or not played:
        return _cannot_fit("there is nothing to compare")
    rate_hz = music[0].band_rate_hz
    found = _rhythm_lag_s(_from(_curve(music), round(zero_s * rate_hz)), _curve(played), rate_hz)
    if found is None:
        return _cannot_fit("they are too short")
    lag_s, sureness = found
    here = abs(lag_s) <= limits.feel_s
    has_drums = any((drum_probability(features) or 0.0) >= limits.drums_likely for features in music)
    if not here and sureness < _SURELY_ELSEWHERE:
        return _cannot_fit("the rhythm fits equally well at other places")
    where = f"{written('_s', round(abs(lag_s), 2))} {'earlier' if lag_s > 0 else 'later'}"
    if not has_drums:
        there = "nothing in their rhythm contradicts it" if here else f"the rhythm would fit better {where}"
        return _cannot_fit(f"they contain no drums; {there}")
    words = "The drums line up with the drums in the client's files."
    if not here:
        words = f"The drums line up with the drums in the client's files only if they are {where}."
    off_ms = 0 if here else round(1000 * lag_s)
    return Check("fits-originals", None, passed=here, value=off_ms, limit=1000 * limits.feel_s, message=words)


def _cannot_fit(why: str) -> Check:
    words = f"Can't tell whether the drums line up with the client's files: {why}."
    return Check("fits-originals", None, passed=True, message=words, undecided=True)


def _curve(parts: Sequence[Features]) -> Doubles:
    """Onset strength of all parts together, even between loud and soft, around zero."""
    length = max(len(part.onset_strength) for part in parts)
    curve = np.zeros(length)
    for part in parts:
        rise = part.onset_strength.sum(axis=1)
        curve[: len(rise)] += np.sqrt(rise / (np.quantile(rise, 0.99) + 1e-9)) if len(rise) else 0.0
    centred: Doubles = curve - curve.mean()
    return centred


def _from(curve: Doubles, first: int) -> Doubles:
    """From this step on, which may lie before the curve's start."""
    return np.pad(curve, (-first, 0)) if first < 0 else curve[first:]


def _rhythm_lag_s(music: Doubles, drums: Doubles, rate_hz: float) -> tuple[float, float] | None:
    """How much later the drums are than the music's rhythm, and by how many standard errors that fits better than 0.

    None when there is too little to compare.
    """
    reach, size = round(_LONGEST_RHYTHM_LAG_S * rate_hz), round(_STRETCH_S * rate_hz)
    count = min(len(music), len(drums)) // size
    if count < _FEWEST_STRETCHES:
        return None
    padded = np.pad(drums, (reach, reach + size))
    lags = np.arange(-reach, reach + 1)
    rows = np.array(
        [
            np.correlate(padded[start : start + size + 2 * reach], music[start : start + size], "valid")
            for start in range(0, count * size, size)
        ]
    )
    best = int(np.argmax(rows.sum(axis=0)))
    here = rows[:, reach - 3 : reach + 4].max(axis=1)
    better = rows[:, best] - here
    error = float(better.std(ddof=1)) / np.sqrt(count)
    return float(lags[best]) / rate_hz, float(better.mean()) / error if error > 0 else 0.0
