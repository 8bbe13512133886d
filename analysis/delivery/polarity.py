"""Overheads, rooms and bottom heads against the close snare microphone: which way round, and how much later.

Microphones on one kit hear each other: distance shows as a lag (2.9 ms a metre), a wrong cable as the opposite sign.
The two heads of one drum move oppositely by nature.

Tested in `tests/analysis/delivery/test_verify.py`.
"""

from __future__ import annotations

import re
from collections.abc import Iterator

from analysis.core.sentences import written
from analysis.delivery.check_results import Check
from analysis.delivery.measured_set import MeasuredSet
from analysis.delivery.own_strokes import SNARE
from analysis.delivery.shared_sound import offset_between
from analysis.lineup.correlation import Offset

# The furthest room microphone stands about 17 m away: 50 ms (house choice).
_LONGEST_MIC_LAG_S = 0.05
_BOTTOM_HEAD = re.compile(r"(bottom|bot|btm|under)(?![a-z])", re.I)
_OVERHEAD = re.compile(r"(?<![a-z])(oh|over[ _-]?heads?|room|rm)", re.I)


def polarity(measured: MeasuredSet) -> Iterator[Check]:
    """When the names say which is which."""
    top = next((track for track in measured.sounding if _is_close_top(track.name)), None)
    if top is None:
        return
    for track in measured.sounding:
        is_bottom = _is_bottom_head(track.name)
        if track is top or not (is_bottom or _OVERHEAD.search(track.name)):
            continue
        offset = offset_between([top.path], [track], _LONGEST_MIC_LAG_S)
        if offset is not None and offset.confidence >= measured.limits.start_confidence:
            yield _polarity_check(track.file, top.file, offset, is_bottom=is_bottom)


def _is_close_top(stem: str) -> bool:
    return bool(SNARE.search(stem)) and not _is_bottom_head(stem)


def _is_bottom_head(stem: str) -> bool:
    return bool(SNARE.search(stem)) and bool(_BOTTOM_HEAD.search(stem))


def _polarity_check(name: str, top: str, offset: Offset, *, is_bottom: bool) -> Check:
    way = "after" if offset.lag_frames >= 0 else "before"
    lag = f"{name} is {written('_frames', abs(offset.lag_frames))} {way} {top}"
    if offset.polarity > 0:
        note = (
            ": same polarity, though the two heads of a drum move in opposite directions; it was flipped"
            if is_bottom
            else ("")
        )
        return Check("polarity", name, passed=True, value=offset.lag_frames, message=f"{lag}{note}.")
    if is_bottom:
        words = f"{lag}, polarity opposite, as expected of the other head of the drum."
        return Check("polarity", name, passed=True, value=offset.lag_frames, message=words)
    return Check("polarity", name, passed=False, value=offset.lag_frames, message=f"{lag}, polarity opposite.")
