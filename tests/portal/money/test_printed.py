"""A quote on paper, in a real browser: the house, the parties and the figures, and nothing of the page around them."""

from __future__ import annotations

import pytest
from django.test import Client
from django.urls import reverse
from playwright.sync_api import Page, expect
from pytest_django.live_server_helper import LiveServer

from portal.people.models import House
from tests.browsing import sign_in
from tests.factories import make_booking, make_client, make_sent_quote

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


def test_a_printed_quote_names_the_house_and_shows_no_banner(
    live_server: LiveServer, client: Client, page: Page
) -> None:
    House.objects.update_or_create(pk=House.get().pk, defaults={"name": "Low Shed Drums"})
    reader = make_client(name="Mara Quillfen")
    quote = make_sent_quote(booking=make_booking(client=reader))
    client.force_login(reader)
    sign_in(page, live_server, client)
    page.goto(live_server.url + reverse("money:quote", args=[quote.booking_id]))
    expect(page.locator(".turn")).to_be_visible()
    expect(page.locator(".on-paper")).to_be_hidden()

    page.emulate_media(media="print")

    expect(page.locator(".on-paper")).to_contain_text("Low Shed Drums")
    expect(page.locator(".on-paper")).to_contain_text("For Mara Quillfen")
    expect(page.locator("table.money")).to_be_visible()
    for banner in ("#decide", ".house", ".foot", ".turn", ".crumbs", ".notices", ".actions", "form", ".on-screen"):
        expect(page.locator(banner).locator("visible=true")).to_have_count(0)
