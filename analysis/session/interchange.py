"""The session as an OpenTimelineIO file (an open standard of the Academy Software Foundation, Apache-2.0).

Every file has a track of its own and begins with the session. Times are in samples at the session's rate, links are
relative to the file. Markers name bar one and the sections.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import opentimelineio as otio
from opentimelineio.opentime import RationalTime, TimeRange

from analysis.maps.midi import Marker
from analysis.session.timeline import Timeline


@dataclass(frozen=True)
class TrackFile:
    """One file of the pack: the name of its track, and its address as seen from the interchange file."""

    track: str
    address: str
    channels: int


def interchange_text(title: str, timeline: Timeline, files: Sequence[TrackFile], markers: Sequence[Marker]) -> str:
    """The JSON of a timeline. `markers` are in the session's bars."""
    rate_hz, frames, reference = timeline.sample_rate_hz, timeline.frames, timeline.time_reference_frames
    session = otio.schema.Timeline(title)
    session.global_start_time = RationalTime(reference, rate_hz)
    for file in files:
        track = otio.schema.Track(file.track, kind=otio.schema.TrackKind.Audio)
        media = otio.schema.ExternalReference(file.address, _frames(reference, frames, rate_hz))
        clip = otio.schema.Clip(file.track, media, _frames(reference, frames, rate_hz))
        clip.metadata["kitpost"] = {"channels": file.channels}
        track.append(clip)
        session.tracks.append(track)
    for marker in markers:
        at = timeline.session_map.frame_of_bar(marker.bar, rate_hz)
        session.tracks.markers.append(otio.schema.Marker(marker.text, _frames(at, 0, rate_hz)))
    return str(session.to_json_string(indent=2)) + "\n"


def _frames(start: int, frames: int, rate_hz: int) -> TimeRange:
    return TimeRange(RationalTime(start, rate_hz), RationalTime(frames, rate_hz))
