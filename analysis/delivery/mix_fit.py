"""How much of a rough mix is explained by a set's tracks, and at which lag: a least-squares fit, window by window.

A window of the mix is fitted by the tracks, each with a gain of its own, at every lag. Gains and signs of tracks do not
matter then, and neither do the distances between microphones: only the true lag explains the mix. Both sides are
differentiated first, so that strokes count for more than low notes. Of one playing, the tracks explain a third and more
of most windows even under loud music; of another take a sixth at most, and each window at another lag (seen on the
multitracks of `bench/delivery`).

Tested in `tests/analysis/delivery/test_line_up.py`.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import soxr
from scipy import fft

from analysis.core.framing import Decimator
from analysis.core.samples import Doubles, Floats
from analysis.media.windows import read_window

# Keeps the fit of tracks that are nearly alike from dividing by nothing: a share of their mean power (house choice).
_RIDGE = 1e-3
# A mix quieter than this over a window holds nothing to fit: -70 dBFS (house choice).
_QUIET = 10 ** (-70 / 20)


@dataclass(frozen=True)
class Fit:
    """`time_s`: where the window has its energy. `lag_frames`: how much later the tracks are than the mix, to a
    fraction. `share` of the mix that they explain; `clearness`: the best lag's explanation over all lags' median."""

    time_s: float
    lag_frames: float
    share: float
    clearness: float


@dataclass(frozen=True)
class Sides:
    """The two sides of the comparison. `speed`: the tracks are taken to run so many times as fast as the mix; `zero_s`:
    how much later than the mix they were agreed to begin; `late_frames`: how much later each track lies than the set,
    in the order of `tracks`, or nothing where all lie together."""

    mix: Path
    tracks: tuple[Path, ...]
    sample_rate_hz: int
    speed: float = 1.0
    zero_s: float = 0.0
    late_frames: tuple[int, ...] = ()

    def fit_at(self, time_s: float, window_s: float, *, lag_s: float, reach_s: float, lowered: int = 1) -> Fit | None:
        """Fit the mix from `time_s` on, looking for lags around `lag_s`; None where there is nothing to fit.

        At another speed the time is the tracks' own. `lowered`: look at so many times a lower rate, which is quicker.
        """
        rate_hz = self.sample_rate_hz
        mix = self._mix_window(time_s, window_s)
        reach = round(reach_s * rate_hz)
        first = round((time_s + lag_s) * rate_hz) - reach
        if float(np.abs(mix).max(initial=0.0)) < _QUIET:
            return None
        late = self.late_frames or (0,) * len(self.tracks)
        length = len(mix) + 2 * reach
        tracks = [_stretch(path, first + own, length, rate_hz) for path, own in zip(self.tracks, late, strict=True)]
        found = fit_lag(_lowered(mix, lowered), np.stack([_lowered(track, lowered) for track in tracks]))
        if found is None:
            return None
        place, share, clearness = found
        lag_frames = first + place * lowered - round(time_s * rate_hz)
        return Fit(time_s + _centre(mix) / rate_hz, lag_frames, share, clearness)

    def _mix_window(self, time_s: float, window_s: float) -> Floats:
        rate_hz = self.sample_rate_hz
        first = round((time_s * self.speed + self.zero_s) * rate_hz)
        window = _stretch(self.mix, first, round(window_s * self.speed * rate_hz), rate_hz)
        if self.speed == 1.0:
            return window
        return np.asarray(soxr.resample(window, rate_hz * self.speed, rate_hz), np.float32)


def _stretch(path: Path, first: int, frames: int, sample_rate_hz: int) -> Floats:
    """From frame `first` on, which may lie before the file's start. Its faded ends hardly count."""
    lead = min(max(0, -first), frames)
    if lead == frames:
        return np.zeros(frames, np.float32)
    part = read_window(path, max(0, first) / sample_rate_hz, frames - lead, sample_rate_hz)
    return np.concatenate([np.zeros(lead, np.float32), part])


def _lowered(samples: Floats, factor: int) -> Floats:
    return Decimator(factor).lower(samples) if factor > 1 else samples


def _centre(mix: Floats) -> float:
    """The frame around which the differentiated mix has its energy: that is where the lag was read."""
    power = np.diff(mix).astype(np.float64) ** 2
    return float(np.arange(len(power)) @ power) / max(float(power.sum()), 1e-30)


def fit_lag(mix: Floats, tracks: Floats) -> tuple[float, float, float] | None:
    """Where within longer tracks a window of the mix lies.

    Parameters
    ----------
    mix : float32 array, shape (n,)
    tracks : float32 array, shape (n_tracks, n + longest)
        Lags from 0 to `longest` are looked for.

    Returns
    -------
    tuple or None
        The lag in frames and a fraction, the share of the mix that is explained there, and how clear that is. None
        where the tracks or the mix are silent.
    """
    longest = tracks.shape[1] - len(mix)
    size = fft.next_fast_len(tracks.shape[1], real=True)
    slope = np.linspace(0, 1, size // 2 + 1, dtype=np.float32)
    ours = fft.rfft(tracks, size, axis=1) * slope
    theirs = fft.rfft(np.asarray(mix, np.float32), size) * slope
    gram = np.asarray((ours.conj() @ ours.T).real, np.float64) * 2 / size
    power, mix_power = float(np.trace(gram)), 2 / size * float(np.vdot(theirs, theirs).real)
    if power <= 0.0 or mix_power <= 0.0:
        return None
    gram += np.eye(len(gram)) * _RIDGE * power / len(gram)
    crossed = fft.irfft(ours * theirs.conj(), size, axis=1)[:, : longest + 1].astype(np.float64)
    explained = np.einsum("kt,kt->t", crossed, np.linalg.solve(gram, crossed))
    best = int(np.argmax(explained))
    clearness = float(explained[best]) / max(float(np.median(explained)), 1e-12 * mix_power)
    share = _share(mix, tracks[:, best : best + len(mix)])
    return best + _peak_fraction(explained, best), share, clearness


def _share(mix: Floats, tracks: Floats) -> float:
    """Of the differentiated mix, what the tracks explain where they lie."""
    due, ours = np.diff(mix), np.diff(tracks, axis=1)
    gram = np.asarray(ours @ ours.T, np.float64)
    gram += np.eye(len(gram)) * (_RIDGE * float(np.trace(gram)) / len(gram) + 1e-12)
    crossed = np.asarray(ours @ due, np.float64)
    return float(crossed @ np.linalg.solve(gram, crossed)) / max(float(due @ due), 1e-12)


def _peak_fraction(curve: Doubles, best: int) -> float:
    """Where between its neighbours a parabola through the peak is highest."""
    if not 0 < best < len(curve) - 1:
        return 0.0
    before, here, after = curve[best - 1 : best + 2]
    bend = before - 2 * here + after
    return float(np.clip(0.5 * (before - after) / bend, -0.5, 0.5)) if bend < 0 else 0.0


def spread_windows(places_s: Sequence[float], most: int) -> list[float]:
    """At most so many of them, evenly over the song."""
    if len(places_s) <= most:
        return list(places_s)
    return [places_s[index] for index in np.rint(np.linspace(0, len(places_s) - 1, most)).astype(int)]
