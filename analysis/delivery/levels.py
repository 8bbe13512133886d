"""Does every track sound, unclipped, and none twice?

Tested in `tests/analysis/delivery/test_verify.py`.
"""

from __future__ import annotations

from collections.abc import Iterator

from analysis.core.sentences import written
from analysis.core.units import dbfs_from_amplitude, seconds_as_clock
from analysis.delivery.check_results import Check
from analysis.delivery.measured_set import MeasuredSet, Track


def level_checks(measured: MeasuredSet) -> Iterator[Check]:
    sounding = measured.sounding
    for track in measured.tracks:
        yield _sounding(track, measured.limits.silent_peak_dbfs, passed=track in sounding)
        yield _clipped(track)


def _sounding(track: Track, least_dbfs: float, *, passed: bool) -> Check:
    peak_dbfs = dbfs_from_amplitude(track.peak)
    words = f"{track.file} peaks at {written('_dbfs', peak_dbfs)}." if passed else f"{track.file} is silent."
    return Check("sounding", track.file, passed, peak_dbfs, least_dbfs, words)


def _clipped(track: Track) -> Check:
    places, runs = len(track.clipped.events), track.clipped.runs
    if not runs:
        return Check("clipped", track.file, passed=True, value=0, limit=0, message=f"{track.file} is not clipped.")
    worst = max(track.clipped.events, key=lambda event: event.longest_frames)
    words = f"{track.file} is clipped in {written('places', places)}, the worst at {seconds_as_clock(worst.start_s)}."
    return Check(
        "clipped", track.file, passed=False, value=runs, limit=0, message=words, place_s=round(worst.start_s, 3)
    )


def distinct_sound(measured: MeasuredSet) -> Iterator[Check]:
    first: dict[str, str] = {}
    for track in measured.tracks:
        other = first.setdefault(track.digest, track.file)
        if other != track.file and track.peak > 0.0:
            message = f"{track.file} is the same recording as {other}."
            yield Check("distinct-sound", track.file, passed=False, value=other, message=message)
