"""The score's place on a song's sheet."""

from __future__ import annotations

from typing import Any

from django import template

from portal.bookings.models import Song
from portal.intake.maps.song_maps import map_of_song
from portal.lanes.page import lanes_of, sections_of, word_on_sections

register = template.Library()


@register.inclusion_tag("lanes/_sheet_lanes.html")
def sheet_lanes(song: Song) -> dict[str, Any]:
    return {
        "song": song,
        "lanes": lanes_of(song),
        "sections": list(sections_of(song, map_of_song(song))),
        "word": word_on_sections(song),
    }
