"""Where each track lies in a mix of all of them: a least-squares fit with a short filter for each track.

The mix is explained by all tracks at once, so what one microphone hears of another's drum misleads nobody: only where a
track itself was mixed in does it explain anything. A mixer's gains and tone controls make a filter with one high tap;
its place is how much later the track is than in the mix. A track that lies further off than the filter reaches has no
high tap, and what the fit leaves of the mix then looks like that track, at the right lag.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy import fft, linalg

from analysis.core.samples import Doubles, Floats

# The filter reaches so many frames to either side (house choice).
_REACH = 4
_TAPS = 2 * _REACH + 1
# Strokes count more than low notes: what a first difference leaves of the last sample (house choice).
_EMPHASIS = 0.95
# Keeps tracks that are nearly alike apart: a share of each one's power (house choice).
_RIDGE = 1e-6
# Share of a filter's power in its highest tap: tracks in place had 0.8 and more on most multitracks of the bench,
# tracks elsewhere rarely 0.6.
CLEAR = 0.58
# From here on nothing else is tried; a track that was found elsewhere must be this much clearer there (house choices).
_NO_DOUBT, _CLEARER = 0.8, 0.1
# One stretch counts for more than all together where the track stands so many times higher over what no track explains
# (house choice; 60 times where a compressor made the loud stretches look otherwise: seen).
_FAR_BETTER = 10.0

Window = tuple[Floats, Floats]


@dataclass(frozen=True)
class TrackLag:
    """`lag_frames`: how much later the track is than in the mix. `clear`: how sure, 0 to 1; see `CLEAR`. `share`: the
    track's power in the mix against the whole mix; `over_rest`: against what no track explains."""

    lag_frames: int
    clear: float
    share: float
    over_rest: float


def emphasised(samples: Floats) -> Floats:
    out = samples.copy()
    out[..., 1:] -= np.float32(_EMPHASIS) * samples[..., :-1]
    return out


def track_lags(windows: Sequence[Window], *, longest_frames: int) -> tuple[TrackLag, ...]:
    """Where each track lies against the mix.

    Parameters
    ----------
    windows : sequence of (tracks, mix)
        float32 arrays of shape (n_tracks, n_frames) and (n_frames,), of the same stretch, `emphasised`.
    longest_frames : int
        Lags up to this are found.

    Returns
    -------
    tuple of TrackLag
        One for each track. A track that is hardly in the mix is not clear.
    """
    moved = [0] * len(windows[0][0])
    found = _solve(windows)
    in_doubt = [number for number, lag in enumerate(found) if lag.clear < _NO_DOUBT or lag.lag_frames]
    while in_doubt and len(in_doubt) < len(found):
        number, frames = _elsewhere(windows, in_doubt, longest_frames)
        in_doubt.remove(number)
        tried = [(_advanced(tracks, number, frames), mix) for tracks, mix in windows]
        again = _solve(tried)
        if again[number].clear >= max(CLEAR, found[number].clear + _CLEARER):
            windows, found, moved[number] = tried, again, frames
            in_doubt = [other for other in in_doubt if found[other].clear < _NO_DOUBT or found[other].lag_frames]
    return tuple(replace(lag, lag_frames=lag.lag_frames + frames) for lag, frames in zip(found, moved, strict=True))


def settled(
    lags: Sequence[TrackLag], there: Sequence[Sequence[TrackLag]], usual: int, *, least_clear: float
) -> list[TrackLag]:
    """Lags of all windows together, but of tracks that lie in place in a window which they explain far better.

    What a compressor moves in a loud stretch looks like a track elsewhere.

    Parameters
    ----------
    lags : sequence of TrackLag
        Of all windows together.
    there : sequence of sequence of TrackLag
        Of each window by itself.
    usual : int
        Where the tracks lie.
    least_clear : float
        How clear a track must be in that window.
    """
    found = []
    for number, lag in enumerate(lags):
        best = max((here[number] for here in there), key=lambda one: one.over_rest)
        in_place = best.lag_frames == usual and best.clear >= least_clear
        found.append(best if in_place and best.over_rest >= _FAR_BETTER * lag.over_rest else lag)
    return found


def _solve(windows: Sequence[Window]) -> list[TrackLag]:
    filters, rest = _filters(windows)
    power = (filters**2).sum(axis=0) + 1e-30
    taps = np.abs(filters).argmax(axis=0)
    clear = np.abs(filters).max(axis=0) ** 2 / power
    powers = power * sum(np.square(tracks).sum(axis=1) for tracks, _ in windows)
    whole = max(sum(float(mix @ mix) for _, mix in windows), 1e-12)
    return [
        TrackLag(_REACH - int(tap), float(sure), float(own) / whole, float(own) / max(rest, 1e-6 * whole))
        for tap, sure, own in zip(taps, clear, powers, strict=True)
    ]


def _filters(windows: Sequence[Window]) -> tuple[Doubles, float]:
    """Each track's filter, shape (n_taps, n_tracks), from the normal equations of all windows; and the power
    of the mix that they leave."""
    count = len(windows[0][0])
    table = np.zeros((_TAPS, count, count))
    crossed = np.zeros((_TAPS, count))
    for tracks, mix in windows:
        frames = len(mix)
        for lag in range(_TAPS):
            table[lag] += tracks[:, lag:] @ tracks[:, : frames - lag].T
            shift = lag - _REACH
            late, early = max(0, shift), max(0, -shift)
            crossed[lag] += tracks[:, early : frames - late] @ mix[late : frames - early]
    blocks = np.empty((_TAPS, count, _TAPS, count))
    for one in range(_TAPS):
        for two in range(_TAPS):
            blocks[one, :, two, :] = table[two - one] if two >= one else table[one - two].T
    whole = blocks.reshape(_TAPS * count, _TAPS * count)
    whole[np.diag_indices(len(whole))] *= 1 + _RIDGE
    whole[np.diag_indices(len(whole))] += _RIDGE * np.trace(whole) / len(whole) + 1e-12
    filters = np.asarray(linalg.solve(whole, crossed.reshape(-1), assume_a="pos")).reshape(_TAPS, count)
    return filters, sum(float(mix @ mix) for _, mix in windows) - float((filters * crossed).sum())


def _elsewhere(windows: Sequence[Window], unclear: Sequence[int], longest: int) -> tuple[int, int]:
    """Of the unclear tracks the one that what is left of the mix resembles most, and how much later it is."""
    filters = _filters(windows)[0].astype(np.float32)
    likeness = np.zeros((len(unclear), 2 * longest + 1))
    powers = np.full(len(unclear), 1e-12)
    for tracks, mix in windows:
        left = _left_over(tracks, mix, filters)
        size = fft.next_fast_len(len(left) + longest, real=True)
        spectrum = fft.rfft(left, size)
        for row, number in enumerate(unclear):
            crossed = fft.irfft(spectrum * np.conj(fft.rfft(tracks[number], size)), size)
            likeness[row] += np.concatenate([crossed[-longest:], crossed[: longest + 1]])
            powers[row] += float(tracks[number] @ tracks[number])
    likeness /= np.sqrt(powers)[:, None]
    likeness[:, longest - _REACH : longest + _REACH + 1] = 0.0
    row, place = divmod(int(np.abs(likeness).argmax()), likeness.shape[1])
    # The mix has the track `place - longest` frames later than the track has it.
    return unclear[row], longest - place


def _left_over(tracks: Floats, mix: Floats, filters: Floats) -> Floats:
    left, frames = mix.copy(), len(mix)
    for tap in range(_TAPS):
        shift = tap - _REACH
        late, early = max(0, shift), max(0, -shift)
        left[late : frames - early] -= filters[tap] @ tracks[:, early : frames - late]
    return left


def _advanced(tracks: Floats, number: int, frames: int) -> Floats:
    """One track earlier by so many frames, silent where nothing is left of it."""
    out = tracks.copy()
    out[number] = 0.0
    late, early = max(0, frames), max(0, -frames)
    length = tracks.shape[1]
    out[number, early : length - late] = tracks[number, late : length - early]
    return out
