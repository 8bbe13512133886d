"""The chart's place on a song's page."""

from __future__ import annotations

from typing import Any

from django import template
from django.template import Context

from portal.bookings.models import Song
from portal.charts.page import chart_page

register = template.Library()


@register.inclusion_tag("charts/_song_chart.html", takes_context=True)
def song_chart(context: Context, song: Song) -> dict[str, Any]:
    user = context["request"].user
    return {
        "song": song,
        "page": chart_page(song, user),
        "user": user,
        "csrf_token": context.get("csrf_token"),
    }
