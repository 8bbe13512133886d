"""A chart's engraved pages, and its printed files, for other pages and for session packs."""

from __future__ import annotations

from typing import Any

from django.core.files.storage import default_storage

from portal.bookings.models import Song
from portal.charts.models import ChartFile, ChartVersion

# What a session pack takes along of a chart.
PACKED = (ChartFile.Kind.A4, ChartFile.Kind.LETTER, ChartFile.Kind.MUSICXML)


def engraved(song: Song) -> ChartVersion | None:
    """The newest version whose pages are there."""
    return song.chart_versions.filter(state=ChartVersion.State.ENGRAVED).prefetch_related("files").first()


def packed_files(song: Song) -> list[tuple[str, str]]:
    """Name and key of each file that goes into a session pack; none before the newest version is engraved."""
    newest = song.chart_versions.prefetch_related("files").first()
    if newest is None or newest.state != ChartVersion.State.ENGRAVED:
        return []
    return [(file.name, file.key) for file in newest.files.all() if file.kind in PACKED]


def content_of(key: str) -> bytes:
    with default_storage.open(key) as file:
        return bytes(file.read())


def drawn_chart(song: Song) -> dict[str, Any] | None:
    """Its pages as SVG text: what a device keeps needs no other address."""
    version = engraved(song)
    if version is None:
        return None
    screens = [file for file in version.files.all() if file.kind == ChartFile.Kind.SCREEN]
    return {"version": version.number, "pages": [content_of(file.key).decode() for file in screens]}
