"""The quote's place on a booking's page."""

from __future__ import annotations

from typing import Any

from django import template
from django.template import Context
from django.urls import reverse

from portal.bookings.models import Booking
from portal.money.models import Quote
from portal.money.page import Paper, instalments_of, paper_of
from portal.people.models import User

register = template.Library()


@register.inclusion_tag("money/_booking_quote.html", takes_context=True)
def booking_quote(context: Context, booking: Booking) -> dict[str, Any]:
    user = context["request"].user
    quotes = booking.quotes.visible_to(user).prefetch_related("lines")
    paper = paper_of(quotes.first())
    return {
        "user": user,
        "booking": booking,
        "paper": paper,
        "instalments": instalments_of(booking) if paper else [],
        "is_yours": _is_yours(paper, user),
        "quote_url": reverse("money:quote", args=[booking.pk]),
    }


def _is_yours(paper: Paper | None, user: User) -> bool:
    if user.is_drummer:
        return paper is None or paper.quote.state == Quote.State.DRAFT
    return paper is not None and paper.is_open
