"""A few loud stretches of all tracks side by side, in memory, for questions that compare sample with sample.

Tested in `tests/analysis/delivery/test_microphone.py` and `tests/analysis/delivery/test_arrival.py`.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path

import numpy as np
from scipy import fft

from analysis.core.samples import Doubles, Floats
from analysis.lineup.strokes_heard import Heard, strokes_heard
from analysis.media.windows import Activity, choose_windows, read_window

# 16 tracks take 49 MB at 48 kHz (house choices).
_WINDOW_S, _MOST = 4.0, 4
# The furthest room microphone stands about 17 m away: 50 ms (house choice).
_LONGEST_MIC_LAG_S = 0.05
# Shares of power under and over these say what is dark and what is bright; levels are those of short pieces (house
# choices).
LOW_HZ, HIGH_HZ = 120.0, 6_000.0
_PIECE_S = 0.01


@dataclass(frozen=True)
class Excerpts:
    """`samples`: one float32 array of shape (n_tracks, n_frames) for each start."""

    starts_s: tuple[float, ...]
    samples: tuple[Floats, ...]
    sample_rate_hz: int

    def heard_from(self, reference: int) -> tuple[Heard | None, ...]:
        """How every track hears the strokes of one of them."""
        if not self.samples:
            return ()
        longest = round(_LONGEST_MIC_LAG_S * self.sample_rate_hz)
        return strokes_heard(self.samples, reference, self.sample_rate_hz, longest_lag_frames=longest)

    @cached_property
    def ranges_db(self) -> tuple[float, ...]:
        """Of each track: between the loudest hundredth and the quiet tenth of short pieces."""
        size = round(_PIECE_S * self.sample_rate_hz)
        pieces = [window[:, : window.shape[1] // size * size].reshape(len(window), -1, size) for window in self.samples]
        powers = np.concatenate([np.square(one).mean(axis=2) for one in pieces], axis=1)
        return tuple(_range_db(row[row > 0]) for row in powers)

    @cached_property
    def shares_db(self) -> Doubles:
        """Of each track's power, what lies under `LOW_HZ` and what lies over `HIGH_HZ`: shape (n_tracks, 2)."""
        sums = np.zeros((len(self.samples[0]), 3))
        for window in self.samples:
            hz = fft.rfftfreq(window.shape[1], 1 / self.sample_rate_hz)
            for number, track in enumerate(window):
                power = np.square(np.abs(fft.rfft(track)))
                sums[number] += power.sum(), power[hz < LOW_HZ].sum(), power[hz >= HIGH_HZ].sum()
        return np.asarray(10 * np.log10((sums[:, 1:] + 1e-12) / (sums[:, :1] + 1e-12)))

    def of(self, path: Path, *, later_frames: int = 0) -> tuple[Floats, ...]:
        """The same stretches of another file that is so much earlier than the tracks."""
        rate_hz = self.sample_rate_hz
        return tuple(
            _stretch(path, round(start_s * rate_hz) - later_frames, window.shape[1], rate_hz)
            for start_s, window in zip(self.starts_s, self.samples, strict=True)
        )


def read_excerpts(paths: Sequence[Path], activities: Sequence[Activity], sample_rate_hz: int) -> Excerpts:
    """Where, taken together, every track plays at its loudest."""
    frames = round(_WINDOW_S * sample_rate_hz)
    starts = choose_windows(activities, window_s=_WINDOW_S, most=_MOST)
    samples = tuple(
        np.stack([read_window(path, start_s, frames, sample_rate_hz) for path in paths]) for start_s in starts
    )
    return Excerpts(starts, samples, sample_rate_hz)


def _range_db(powers: Floats) -> float:
    return float(10 * np.log10(np.quantile(powers, 0.99) / np.quantile(powers, 0.1))) if len(powers) else 0.0


def _stretch(path: Path, first: int, frames: int, sample_rate_hz: int) -> Floats:
    """From frame `first` on, which may lie before the file's start."""
    lead = min(max(0, -first), frames)
    if lead == frames:
        return np.zeros(frames, np.float32)
    part = read_window(path, max(0, first) / sample_rate_hz, frames - lead, sample_rate_hz)
    return np.concatenate([np.zeros(lead, np.float32), part])
