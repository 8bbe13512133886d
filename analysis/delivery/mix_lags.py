"""Where a set lies in a rough mix all along the song: first roughly, in a few loud places, then finely everywhere.

A set may run at another speed than the mix; the speeds tried are those that wrong rate labels give (trade practice:
48 kHz read as 44.1 kHz, or a pull-down of 0.1 %).

Tested in `tests/analysis/delivery/test_line_up.py`.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from analysis.core.samples import Doubles
from analysis.delivery.lag_line import find_jump, fit_line, holds
from analysis.delivery.measured_set import Track
from analysis.delivery.mix_fit import Fit, Sides, spread_windows
from analysis.media.windows import choose_windows

# How far from the start a set may lie: two bars of 4/4 at 80. Windows of the rough look, taken at a quarter of the
# rate, and of the fine one (house choices).
_REACH_S = 6.0
_ROUGH_WINDOW_S, _ROUGH_PLACES, _LOWERED = 2.0, 4, 4
_FINE_WINDOW_S, _FINE_REACH_S, _FINE_PLACES = 1.5, 0.15, 48
# A lag at another speed is looked for this far around where both would begin together.
_SPEED_REACH_S = 1.0
# The last two are the pull-down of video.
RATE_RATIOS = (44_100 / 48_000, 48_000 / 44_100, 0.5, 2.0)
_SPEEDS = (*RATE_RATIOS, 0.999, 1 / 0.999)
# What a window must show to count: chance reaches about 10 in a short window (seen), unrelated strokes more, but each
# window elsewhere. Windows agree when a clock that is 300 ppm off explains their distance (house choices).
_CLEAR = 20.0
_AGREE_FRAMES, _AGREE_PARTS = 64, 0.0003
# A window with a single stroke is explained in part by any stroke like it (a sixth at most, at the lower rate a
# quarter: seen). This much is explained by the same playing alone (house choices).
_SAME_SHARE, _SAME_SHARE_LOWERED = 0.5, 0.4
# Fewer windows make no line: one or two of another take are clear by chance (house choice).
_FEWEST_ON_A_LINE = 3
# Windows that are explained this much worse than most say less (house choice).
_POOR_SHARE = 0.2
# A second sounds from this share of the loudest one's power on: -40 dB (house choice).
_SOUNDS = 1e-4


# Where rough windows mislead, as under loud music, the fine ones are asked where a good set lies.
_WHERE_IT_IS_DUE = Fit(0.0, 0.0, 0.0, 0.0)


@dataclass(frozen=True)
class Lags:
    """`rough`: the windows that were looked at first; `fine` follow the lag that these share, and are empty where they
    share none. `speed`: how many times as fast as the mix the set runs."""

    speed: float
    rough: tuple[Fit, ...]
    fine: tuple[Fit, ...]


def find_lags(sides: Sides, tracks: Sequence[Track]) -> Lags:
    """Look at the song's own speed, and where that shows nothing in common, at others."""
    places = choose_windows([track.activity for track in tracks], window_s=_ROUGH_WINDOW_S, most=_ROUGH_PLACES)
    rough = _rough(sides, places, _REACH_S)
    for first in (_shared(rough, sides.sample_rate_hz, least_share=0.0), _WHERE_IT_IS_DUE):
        fine = follow(sides, first, tracks) if first is not None else ()
        if _is_one_playing(fine):
            return Lags(1.0, rough, fine)
    for speed in _SPEEDS:
        at_speed = replace(sides, speed=speed)
        found = _rough(at_speed, places, _SPEED_REACH_S)
        if (first := _shared(found, sides.sample_rate_hz, least_share=_SAME_SHARE_LOWERED)) is not None:
            fine = follow(at_speed, first, tracks)
            if _is_one_playing(fine):
                return Lags(speed, found, fine)
    return Lags(1.0, rough, ())


def _rough(sides: Sides, places_s: Sequence[float], reach_s: float) -> tuple[Fit, ...]:
    fits = (sides.fit_at(at_s, _ROUGH_WINDOW_S, lag_s=0.0, reach_s=reach_s, lowered=_LOWERED) for at_s in places_s)
    return tuple(fit for fit in fits if fit is not None and fit.clearness >= _CLEAR)


def _shared(fits: Sequence[Fit], sample_rate_hz: int, *, least_share: float) -> Fit | None:
    """The window that most others agree with; None where no other does, though there are others."""
    best, most = None, min(1, len(fits) - 1)
    for fit in sorted(fits, key=lambda one: -one.share):
        agreeing = sum(_agree(fit, other, sample_rate_hz) for other in fits)
        if agreeing > most and fit.share >= least_share:
            best, most = fit, agreeing
    return best


def _agree(one: Fit, other: Fit, sample_rate_hz: int) -> bool:
    apart_frames = abs(one.time_s - other.time_s) * sample_rate_hz
    return abs(one.lag_frames - other.lag_frames) <= _AGREE_FRAMES + _AGREE_PARTS * apart_frames


def _is_one_playing(fine: Sequence[Fit]) -> bool:
    """The windows follow one line through the mix, or two levels, or the tracks explain nearly all of it."""
    if not fine:
        return False
    line_of = times_and_lags(fine)
    if len(fine) >= _FEWEST_ON_A_LINE and (holds(fit_line(*line_of)) or find_jump(*line_of) is not None):
        return True
    return float(np.median([fit.share for fit in fine])) >= _SAME_SHARE


def follow(sides: Sides, first: Fit, tracks: Sequence[Track]) -> tuple[Fit, ...]:
    """From the first window outwards, each looked for around where the one before it lay."""
    places = spread_windows(_sounding_places(tracks), _FINE_PLACES)
    after = _walk(sides, first, [place for place in places if place >= first.time_s])
    before = _walk(sides, first, [place for place in reversed(places) if place < first.time_s])
    found = sorted([*before, *after], key=lambda fit: fit.time_s)
    usual = float(np.median([fit.share for fit in found])) if found else 0.0
    return tuple(fit for fit in found if fit.share >= _POOR_SHARE * usual)


def _walk(sides: Sides, first: Fit, places_s: Sequence[float]) -> list[Fit]:
    found: list[Fit] = []
    lag_s = first.lag_frames / sides.sample_rate_hz
    for place_s in places_s:
        fit = sides.fit_at(place_s, _FINE_WINDOW_S, lag_s=lag_s, reach_s=_FINE_REACH_S)
        if fit is not None and fit.clearness >= _CLEAR:
            found.append(fit)
            lag_s = fit.lag_frames / sides.sample_rate_hz
    return found


def times_and_lags(fits: Sequence[Fit]) -> tuple[Doubles, Doubles]:
    return np.array([fit.time_s for fit in fits]), np.array([fit.lag_frames for fit in fits])


def _sounding_places(tracks: Sequence[Track]) -> list[float]:
    """Starts of windows, one after the other, in whose second any track sounds."""
    length_s = max(track.frames / track.sample_rate_hz for track in tracks)
    places = np.arange(0.0, max(length_s - _FINE_WINDOW_S, 0.0), _FINE_WINDOW_S)
    shares = [track.activity.share for track in tracks]
    loud = np.zeros(max(int(length_s) + 3, *(len(share) for share in shares)))
    for share in shares:
        loud[: len(share)] = np.maximum(loud[: len(share)], share)
    return [float(place) for place in places if loud[int(place) : int(place) + 2].max() > _SOUNDS]
