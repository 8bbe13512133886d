"""The rough mixes' place on a song's page."""

from __future__ import annotations

from typing import Any

from django import template
from django.template import Context

from portal.bookings.models import Song
from portal.takes.page import takes_page

register = template.Library()


@register.inclusion_tag("takes/_rough_mixes.html", takes_context=True)
def song_rough_mixes(context: Context, song: Song) -> dict[str, Any]:
    request = context["request"]
    return {"page": takes_page(song, request.user), "request": request, "csrf_token": context.get("csrf_token")}
