"""The prepared files' place on a song's page."""

from __future__ import annotations

from typing import Any

from django import template
from django.template import Context

from portal.bookings.models import Song

register = template.Library()


@register.inclusion_tag("prep/_song_prep.html", takes_context=True)
def song_prep(context: Context, song: Song) -> dict[str, Any]:
    """The files of the newest approved map; nothing before there is one."""
    approved = song.maps.prefetch_related("prepared").first()
    return {"song": song, "approved": approved, "user": context["request"].user}
