"""How much later tracks are than a file that shares their sound, from a few loud places.

Tested in `tests/analysis/delivery/test_verify.py`.
"""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from analysis.delivery.measured_set import Track
from analysis.lineup.correlation import Offset, OffsetFinder
from analysis.media.windows import choose_windows, mixed_window

# House choices.
_WINDOW_S, _MOST_WINDOWS = 6.0, 4


def offset_between(
    references: Sequence[Path], tracks: Sequence[Track], longest_lag_s: float, *, window_s: float = _WINDOW_S
) -> Offset | None:
    """Lag of the sum of `tracks` against the sum of `references`, from a few loud places. None: nothing to compare."""
    if not tracks:
        return None
    rate_hz = tracks[0].sample_rate_hz
    window_frames = round(window_s * rate_hz)
    finder = OffsetFinder(window_frames, round(longest_lag_s * rate_hz))
    for start_s in choose_windows([track.activity for track in tracks], window_s=window_s, most=_MOST_WINDOWS):
        sides = (references, [track.path for track in tracks])
        first, second = (mixed_window(paths, start_s, window_frames, rate_hz) for paths in sides)
        finder.add(finder.spectrum(first), finder.spectrum(second))
    return finder.finish()
