"""The score's place on a song's sheet."""

from __future__ import annotations

from typing import Any

from django import template

from portal.bookings.models import Song
from portal.intake.maps import map_of_song
from portal.score.lanes import lanes_of, sections_of

register = template.Library()


@register.inclusion_tag("score/_sheet_score.html")
def sheet_score(song: Song) -> dict[str, Any]:
    return {"song": song, "lanes": lanes_of(song), "sections": list(sections_of(song, map_of_song(song)))}
