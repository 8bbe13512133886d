"""The files' place on a song's page, and how measured figures are written."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

from django import template
from django.template import Context

from analysis.core import SongMeasures, tempo_in_figures, tempo_in_words
from analysis.findings import KIND_BY_CODE
from analysis.maps import beat_name_of
from portal.bookings.models import Booking, Song
from portal.intake.checks.tempo_claims import apart_words
from portal.intake.desk.files_page import files_page
from portal.intake.desk.unfinished import unfinished_uploads
from portal.intake.models import Finding
from portal.intake.retention import services as retention

register = template.Library()

CHANNEL_WORDS = {1: "mono", 2: "stereo"}


@register.inclusion_tag("intake/_song_files.html", takes_context=True)
def song_files(context: Context, song: Song) -> dict[str, Any]:
    request = context["request"]
    return {
        "list": files_page(song, request.user),
        "unfinished": unfinished_uploads(request.user, purpose="source", target_id=song.pk),
        "song": song,
        "user": request.user,
        "request": request,
        "csrf_token": context.get("csrf_token"),
    }


@register.inclusion_tag("intake/_booking_originals.html", takes_context=True)
def booking_originals(context: Context, booking: Booking) -> dict[str, Any]:
    request = context["request"]
    return {"shown": retention.shown(booking), "user": request.user, "csrf_token": context.get("csrf_token")}


@register.filter
def finding_title(finding: Finding) -> str:
    return KIND_BY_CODE[finding.code].title


@register.filter
def tempo(bpm: float | Decimal | None, meter: str = "") -> str:
    """Up to three decimals, and the note that is counted where the meter tells it and it is not the quarter."""
    return "–" if bpm is None else tempo_in_words(tempo_in_figures(bpm), beat_name_of(meter))


@register.filter
def beside(bpm: float | Decimal | None, measures: SongMeasures | None) -> str:
    return apart_words(bpm, measures)


@register.filter
def kilohertz(sample_rate_hz: int | None) -> str:
    return "–" if sample_rate_hz is None else f"{sample_rate_hz / 1000:g}\N{NO-BREAK SPACE}kHz"


@register.filter
def channel_words(channels: int | None) -> str:
    return "–" if channels is None else CHANNEL_WORDS.get(channels, f"{channels} channels")


@register.filter
def percent(share: float | None) -> str:
    return "–" if share is None else f"{round(100 * share)}\N{NO-BREAK SPACE}%"
