"""The quote's place on a booking's page."""

from __future__ import annotations

from typing import Any

from django import template

from portal.bookings.models import Booking
from portal.money.models import Quote
from portal.money.paper import instalments_of, paper_of

register = template.Library()


@register.inclusion_tag("money/_booking_quote.html", takes_context=True)
def booking_quote(context: dict[str, Any], booking: Booking) -> dict[str, Any]:
    user = context["request"].user
    quotes = booking.quotes.visible_to(user).prefetch_related("lines")
    paper = paper_of(quotes.first())
    instalments = instalments_of(booking) if paper else []
    is_yours = (
        paper is not None and (paper.is_open if not user.is_drummer else paper.quote.state == Quote.State.DRAFT)
    ) or (paper is None and user.is_drummer)
    return {"user": user, "booking": booking, "paper": paper, "instalments": instalments, "is_yours": is_yours}
