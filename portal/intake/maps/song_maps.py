"""From measurements or from a drummer's figures to the map JSON that click, MIDI and checks are made from; and which
map holds for a song now."""

from __future__ import annotations

from decimal import Decimal
from fractions import Fraction
from typing import Any

from analysis.core import SongReport
from analysis.maps import TempoMap, TempoMapError
from portal.bookings.models import Song
from portal.intake.errors import MapInputError, NoMapError

DEFAULT_METER = "4/4"


def measured_map(report: SongReport) -> dict[str, Any]:
    """The map as measured; `NoMapError` when there is none to approve."""
    song = report.song
    if song.bar_one.time_s is None or not (song.tempo_map or song.tempo.bpm):
        raise NoMapError("No tempo and bar one were measured: set them by hand.")
    try:
        if song.tempo_map:
            return TempoMap.from_segments(song.tempo_map).to_json()
        return map_of(song.tempo.bpm_exact or str(song.tempo.bpm), meter_of(report), song.bar_one.time_s)
    except TempoMapError as error:
        raise NoMapError(f"The measurements give no valid map ({error}): set it by hand.") from error


def meter_of(report: SongReport) -> str:
    meter = report.song.meter
    return f"{meter.beats_per_bar}/{meter.beat_unit}" if meter.beats_per_bar and meter.beat_unit else DEFAULT_METER


def map_by_hand(*, bpm: Decimal, meter: str, bar_one_s: Decimal) -> dict[str, Any]:
    try:
        return map_of(str(bpm), meter, str(bar_one_s))
    except TempoMapError as error:
        raise MapInputError(f"Not a valid tempo map: {error}.") from error


def map_of(bpm: str, meter: str, bar_one_s: float | str) -> dict[str, Any]:
    return TempoMap.constant(bpm, meter, Fraction(str(bar_one_s))).to_json()


def map_of_song(song: Song) -> TempoMap | None:
    """The approved map, else the measured one."""
    approved = song.maps.first()
    try:
        return TempoMap.from_json(approved.map) if approved else measured_map_of(song)
    except TempoMapError:
        return None


def measured_map_of(song: Song) -> TempoMap | None:
    check = song.checks.done().first()
    try:
        return TempoMap.from_json(measured_map(check.numbers)) if check else None
    except (NoMapError, TempoMapError):
        return None
