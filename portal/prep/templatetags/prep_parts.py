"""The prepared files' place on a song's page."""

from __future__ import annotations

from typing import Any

from django import template
from django.template import Context

from portal.bookings.models import Song
from portal.prep.page import prepare_page

register = template.Library()


@register.inclusion_tag("prep/_song_prep.html", takes_context=True)
def song_prep(context: Context, song: Song) -> dict[str, Any]:
    """What the newest approved map gave; nothing before there is one."""
    user = context["request"].user
    approved = song.maps.first()
    page = prepare_page(song) if approved else None
    return {"song": song, "page": page, "user": user, "csrf_token": context.get("csrf_token")}
