"""Where tracks lie in a mix whose making is known. Lags are exact."""

import numpy as np
import pytest

from analysis.core.samples import Floats, Samples
from analysis.lineup.track_fit import CLEAR, Window, emphasised, track_lags

_FRAMES = 48_000


def kit(seed: int = 0) -> Floats:
    """Six microphones that all hear three drums, each at its own distance and level."""
    rng = np.random.default_rng(seed)
    drums = rng.standard_normal((3, _FRAMES)) * np.exp(-(np.arange(_FRAMES) % 12_000) / 1_500)
    tracks = rng.standard_normal((6, _FRAMES)) * 1e-4
    for number in range(len(tracks)):
        for drum in drums:
            tracks[number] += rng.uniform(0.1, 1.0) * np.roll(drum, int(rng.integers(0, 300)))
    return tracks.astype(np.float32)


def moved(tracks: Floats, number: int, frames: int) -> Floats:
    out = tracks.copy()
    out[number] = np.roll(tracks[number], frames)
    return out


def window(tracks: Floats, mix: Samples) -> Window:
    return emphasised(tracks), emphasised(mix.astype(np.float32))


def test_a_good_set_lies_in_its_mix() -> None:
    tracks = kit()
    lags = track_lags([window(tracks, np.linspace(0.3, 1.0, 6) @ tracks)], longest_frames=2_000)

    assert [lag.lag_frames for lag in lags] == [0] * 6
    assert min(lag.clear for lag in lags) > CLEAR


@pytest.mark.parametrize("frames", [1, -1, 48, -48, 512, 960, 1_024])
def test_one_late_track_is_found_to_the_sample(frames: int) -> None:
    tracks = kit()
    mix = np.linspace(0.3, 1.0, 6) @ tracks

    lags = track_lags([window(moved(tracks, 2, frames), mix)], longest_frames=2_000)

    assert [lag.lag_frames for lag in lags] == [0, 0, frames, 0, 0, 0]


def test_a_track_that_is_not_in_the_mix_has_no_share() -> None:
    tracks = kit()
    gains = np.array([0.5, 0.5, 0.0, 0.5, 0.5, 0.5])

    assert track_lags([window(tracks, gains @ tracks)], longest_frames=2_000)[2].share < 1e-5


def test_a_track_is_held_against_what_no_track_explains() -> None:
    """Late by 48 and a hundredth as strong as other music in the mix: its power over that music's (arithmetic)."""
    tracks = kit()
    music = np.random.default_rng(7).standard_normal(_FRAMES, np.float32)
    tracks, music = emphasised(tracks), emphasised(music)
    own = 0.5 * tracks[2]
    music *= np.float32(10 * np.sqrt(np.square(own).sum() / np.square(music).sum()))
    gains = np.array([20.0, 20.0, 0.5, 20.0, 20.0, 20.0], np.float32)

    lag = track_lags([(moved(tracks, 2, 48), gains @ tracks + music)], longest_frames=2_000)[2]

    assert lag.lag_frames == 48
    assert lag.over_rest == pytest.approx(0.01, rel=0.5)
