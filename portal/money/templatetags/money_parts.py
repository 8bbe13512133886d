"""The quote's place on a booking's page."""

from __future__ import annotations

from typing import Any

from django import template
from django.template import Context
from django.urls import reverse

from portal.bookings.models import Booking
from portal.money.models import Quote
from portal.money.page import QuotePage, instalments_of, quote_page_of
from portal.people.models import User

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
        "is_yours": _is_yours(quote_page, user),
        "quote_url": reverse("money:quote", args=[booking.pk]),
    }


def _is_yours(quote_page: QuotePage | None, user: User) -> bool:
    if user.is_drummer:
        return quote_page is None or quote_page.quote.state == Quote.State.DRAFT
    return quote_page is not None and quote_page.is_open
