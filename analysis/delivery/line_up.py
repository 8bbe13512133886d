"""The set against the accepted rough mix: does it lie where it lay then?

Tested in `tests/analysis/delivery/test_verify.py`.
"""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

from analysis.core.errors import UnusableFileError
from analysis.core.sentences import written
from analysis.delivery.check_results import Check
from analysis.delivery.measured_set import MeasuredSet
from analysis.delivery.shared_sound import offset_between

# A bar at a slow tempo (4/4 at 53); the window must stay well longer (house choices).
_LONGEST_MIX_LAG_S = 4.5
_MIX_WINDOW_S = 12.0
# One frame is the rounding of a conversion (house choice).
_LINED_UP_FRAMES = 1


def lined_up(measured: MeasuredSet) -> Iterator[Check]:
    """The sum of the tracks against a rough mix that holds the same performance."""
    if measured.song.against is not None and measured.sounding:
        yield _lined_up(measured, measured.song.against)


def _lined_up(measured: MeasuredSet, against: Path) -> Check:
    try:
        offset = offset_between([against], measured.sounding, _LONGEST_MIX_LAG_S, window_s=_MIX_WINDOW_S)
    except UnusableFileError as error:
        return Check("lined-up", None, passed=False, message=f"{against.name} {error.reason}.")
    if offset is None or offset.confidence < measured.limits.start_confidence:
        words = f"Can't tell whether the set lines up with {against.name}: they have too little sound in common."
        return Check("lined-up", None, passed=True, limit=_LINED_UP_FRAMES, message=words, undecided=True)
    lag = offset.lag_frames
    way = "later" if lag > 0 else "earlier"
    words = f"The set lines up with {against.name}."
    if lag:
        words = f"The set is {written('_frames', abs(lag))} {way} than {against.name}."
    return Check("lined-up", None, abs(lag) <= _LINED_UP_FRAMES, lag, _LINED_UP_FRAMES, words)
