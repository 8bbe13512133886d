"""The score's place on a song's sheet."""

from __future__ import annotations

from typing import Any

from django import template

from portal.bookings.models import Song
from portal.score.lanes import score_of

register = template.Library()


@register.inclusion_tag("score/_sheet_score.html")
def sheet_score(song: Song) -> dict[str, Any]:
    found = score_of(song)
    return {"song": song, "lanes": found["lanes"], "sections": found["sections"]}
