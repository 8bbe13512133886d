"""Do a song's files begin at one point? Found by correlating each file with the rest, a few short stretches of sound.

A stem is in the rough mix, an amplifier is in its own DI, a bleeding voice is in everything: whatever shares sound can
be placed to the sample. What shares none cannot, and is said to be unknown.

Tested in `tests/analysis/lineup/test_compare_files.py`.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from analysis.core.thresholds import Limits
from analysis.lineup.correlation import Offset, OffsetFinder
from analysis.media.windows import Activity, choose_windows, read_window

# A few bars each, in a few places of the song (house choices).
WINDOW_S = 8.0
MOST_WINDOWS = 5
# 50 000 frames at 48 kHz are 1.04 s; a bar at a slow tempo is 4 s, but loops make such lags a guess (house choice).
LONGEST_LAG_S = 2.5
# Files that could be the mix that holds the others: the loudest few are tried (house choice).
REFERENCES_TRIED = 3


@dataclass(frozen=True)
class Source:
    """A file that can be read again, and where in it there is sound. `sample_rate_hz` is its rate as labelled."""

    path: Path
    sample_rate_hz: int
    activity: Activity
    loudness_lufs: float
    duration_s: float


@dataclass(frozen=True)
class Start:
    """How much later than the common start a file begins, at its own rate, judged against the file `against`."""

    offset_frames: int
    polarity: int
    confidence: float
    against: int


def find_starts(sources: Sequence[Source], limits: Limits) -> tuple[Start | None, ...]:
    """For each source its start, or None where that cannot be told. Fewer than two sources tell nothing.

    Returns
    -------
    tuple of Start or None
        As many as sources, in their order; offsets in frames at each source's own rate.
    """
    if len(sources) < 2:
        return (None,) * len(sources)
    rate_hz = Counter(source.sample_rate_hz for source in sources).most_common(1)[0][0]
    tried = sorted(range(len(sources)), key=lambda index: -sources[index].loudness_lufs)[:REFERENCES_TRIED]
    finders = _gathered(sources, tried, rate_hz)
    best: dict[int, Offset] = {}
    reference = tried[0]
    for candidate in tried:
        offsets = _confident(finders[candidate], limits)
        if _weight(offsets) > _weight(best):
            best, reference = offsets, candidate
    return _common_start(best, reference, sources, rate_hz)


def _weight(offsets: dict[int, Offset]) -> float:
    return sum(offset.confidence for offset in offsets.values())


def _gathered(sources: Sequence[Source], tried: Sequence[int], rate_hz: int) -> dict[int, dict[int, OffsetFinder]]:
    """The evidence of every file against every file that could be the mix; one place in memory at a time."""
    window_frames, longest_lag = round(WINDOW_S * rate_hz), round(LONGEST_LAG_S * rate_hz)
    finders = {
        candidate: {
            index: OffsetFinder(window_frames, longest_lag) for index in range(len(sources)) if index != candidate
        }
        for candidate in tried
    }
    shape = OffsetFinder(window_frames, longest_lag)
    activities = [source.activity for source in sources]
    for start_s in choose_windows(activities, window_s=WINDOW_S, most=MOST_WINDOWS):
        windows = (read_window(source.path, start_s, window_frames, rate_hz) for source in sources)
        spectra = [shape.spectrum(window) for window in windows]
        for candidate, others in finders.items():
            for index, finder in others.items():
                finder.add(spectra[candidate], spectra[index])
    return finders


def _confident(finders: dict[int, OffsetFinder], limits: Limits) -> dict[int, Offset]:
    offsets = {index: finder.finish() for index, finder in finders.items()}
    return {
        index: offset for index, offset in offsets.items() if offset and offset.confidence >= limits.start_confidence
    }


def _common_start(
    offsets: dict[int, Offset], reference: int, sources: Sequence[Source], rate_hz: int
) -> tuple[Start | None, ...]:
    """Where most files agree is the start; the reference itself may be the one that is off."""
    if not offsets:
        return (None,) * len(sources)
    lags = {reference: 0} | {index: offset.lag_frames for index, offset in offsets.items()}
    common = _agreed(list(lags.values()))
    starts: list[Start | None] = []
    for index, source in enumerate(sources):
        if index not in lags:
            starts.append(None)
            continue
        frames = round((lags[index] - common) * source.sample_rate_hz / rate_hz)
        against = reference if index != reference else min(offsets, key=lambda other: abs(lags[other] - common))
        polarity, confidence = 1, max(offset.confidence for offset in offsets.values())
        if index != reference:
            polarity, confidence = offsets[index].polarity, offsets[index].confidence
        starts.append(Start(frames, polarity, confidence, against))
    return tuple(starts)


def _agreed(lags: Sequence[int]) -> int:
    """The lag that most files share, within two samples; the earliest of equals, since files start late, not early."""
    votes = {lag: sum(abs(lag - other) <= 2 for other in lags) for lag in lags}
    most = max(votes.values())
    return min(lag for lag, count in votes.items() if count == most)
