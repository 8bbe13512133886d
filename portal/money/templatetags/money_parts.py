"""The quote's place on a booking's page."""

from __future__ import annotations

from typing import Any

from django import template
from django.template import Context
from django.urls import reverse

from portal.bookings.models import Booking
from portal.bookings.turn_page import QUOTE_CODES, turn_of
from portal.money.page import instalments_of, quote_page_of, unbilled_rounds

register = template.Library()


@register.inclusion_tag("money/_booking_quote.html", takes_context=True)
def booking_quote(context: Context, booking: Booking) -> dict[str, Any]:
    user = context["request"].user
    quotes = booking.quotes.visible_to(user).prefetch_related("lines")
    quote_page = quote_page_of(quotes.first())
    return {
        "user": user,
        "booking": booking,
        "quote_page": quote_page,
        "instalments": instalments_of(booking) if quote_page else [],
        "unbilled_rounds": unbilled_rounds(booking) if user.is_drummer else [],
        "is_yours": booking.turn == turn_of(user) and booking.waits_for in QUOTE_CODES,
        "quote_url": reverse("money:quote", args=[booking.pk]),
    }
