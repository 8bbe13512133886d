"""The deliveries' place on a song's page."""

from __future__ import annotations

from typing import Any

from django import template
from django.db.models import Count, Q, Sum
from django.template import Context

from portal.bookings.models import Song
from portal.bookings.turns import ACCEPT_FILES
from portal.delivery.services import BALANCE_SENTENCE, STAGES_OF_DELIVERY
from portal.takes.models import RoughMix

register = template.Library()

GOES_OUT = Q(files__replaced_at=None)


@register.inclusion_tag("delivery/_song_delivery.html", takes_context=True)
def song_delivery(context: Context, song: Song) -> dict[str, Any]:
    user = context["request"].user
    sets = song.deliveries.visible_to(user).annotate(
        file_count=Count("files", filter=GOES_OUT), size_bytes=Sum("files__size_bytes", filter=GOES_OUT)
    )
    deliveries = list(sets.order_by("-number").prefetch_related("waivers"))
    newest = deliveries[0] if deliveries else None
    is_open_to_sets = user.is_drummer and song.stage in STAGES_OF_DELIVERY and not song.booking.is_over
    return {
        "song": song,
        "user": user,
        "deliveries": deliveries,
        "newest": newest,
        "can_open": is_open_to_sets and (newest is None or not newest.is_open),
        "is_accepted": song.rough_mixes.filter(state=RoughMix.State.ACCEPTED).exists(),
        "is_yours": not user.is_drummer and song.waits_for == ACCEPT_FILES.code,
        "waits_for_balance": song.booking.files_wait_for_balance and not user.is_drummer,
        "balance_sentence": BALANCE_SENTENCE,
        "csrf_token": context.get("csrf_token"),
    }
