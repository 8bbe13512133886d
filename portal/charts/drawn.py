"""A chart's engraved pages, and its printed files, for other pages and for session packs."""

from __future__ import annotations

import re
from typing import Any

from django.core.files.storage import default_storage

from portal.bookings.models import Song
from portal.charts.models import ChartFile, ChartVersion
from portal.charts.moving import bars_in_use

# How an engraved page names a bar's numbers in the song (`analysis/engraving/svg_page.py`).
_SONG_BARS = re.compile(r'(data-song-bars=")([-\d ]*)"')
# What a session pack takes along of a chart.
PACKED = (ChartFile.Kind.A4, ChartFile.Kind.LETTER, ChartFile.Kind.MUSICXML)


def engraved(song: Song) -> ChartVersion | None:
    """The newest version whose pages are there."""
    versions = song.chart_versions.filter(state=ChartVersion.State.ENGRAVED)
    return versions.select_related("approved_map").prefetch_related("files").first()


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
    """Its pages as SVG text: what a device keeps needs no other address.

    Their bars are known by those of the map in use, whose bar is lit; what is printed stays.
    """
    version = engraved(song)
    if version is None:
        return None
    screens = [file for file in version.files.all() if file.kind == ChartFile.Kind.SCREEN]
    bar_in_use = bars_in_use(version.approved_map, song.maps.first())

    def known(match: re.Match[str]) -> str:
        return f'{match[1]}{" ".join(str(bar_in_use(int(bar))) for bar in match[2].split())}"'

    pages = [_SONG_BARS.sub(known, content_of(file.key).decode()) for file in screens]
    return {"version": version.number, "pages": pages}
