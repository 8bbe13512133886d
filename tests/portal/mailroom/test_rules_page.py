"""The rules for messages in a real browser: the bar that stays in reach covers nothing that is reached."""

from __future__ import annotations

import pytest
from django.test import Client
from django.urls import reverse
from playwright.sync_api import Page
from pytest_django.live_server_helper import LiveServer

from tests.browsing import sign_in
from tests.factories import make_drummer

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

# Whether anything of the focused field, or of the words that belong to it, lies under the bar (2.4.11 of WCAG 2.2).
COVERED = """() => {
  const bar = document.querySelector(".at-foot").getBoundingClientRect();
  const focused = document.activeElement;
  const parts = [focused, ...(focused.labels ?? [])].map((part) => part.getBoundingClientRect());
  return parts.some(({ bottom, top }) => bottom > bar.top + 1 && top < bar.bottom);
}"""


@pytest.mark.parametrize("size", [(1440, 900), (1024, 768), (390, 844)], ids=["desk", "tablet", "phone"])
def test_no_field_that_is_reached_by_tab_lies_under_the_bar(
    live_server: LiveServer, client: Client, page: Page, size: tuple[int, int]
) -> None:
    client.force_login(make_drummer())
    sign_in(page, live_server, client)
    page.set_viewport_size({"width": size[0], "height": size[1]})
    page.goto(live_server.url + reverse("mailroom:rules"))
    fields = page.locator("main form :is(select, input:not([type=hidden]))")

    covered = []
    page.locator("main nav a").last.focus()
    for _ in range(fields.count()):
        page.keyboard.press("Tab")
        if page.evaluate(COVERED):
            covered.append(page.evaluate("document.activeElement.id"))

    assert page.evaluate("document.activeElement.name") == "remind_after_days"
    assert covered == []
