"""Every kind of page of a demo house, as the drummer and as a client, without a serious fault of WCAG 2.2 AA."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import pytest
from playwright.sync_api import expect

from tests.flows.accessible import GRAVE, Faults, every_page, faults_of
from tests.flows.people import MEASURED_WITHIN_MS, Person, windows
from tests.houses import demo, needs_proc

if TYPE_CHECKING:
    from playwright.sync_api import Browser, Page

pytestmark = pytest.mark.browser

# What the course of a booking does not pass by.
MUST_SEE = {
    *("/desk/", "/board/", "/mail/", "/messages/", "/message-rules/", "/house/", "/me/", "/bookings/new/"),
    *("/songs/N/", "/songs/N/sheet/", "/songs/N/map/", "/songs/N/brief/", "/bookings/N/", "/bookings/N/quote/"),
    "/excerpts/N/",
}
BROKEN = """<html lang="en"><title>Broken</title><main><h1>Broken</h1><input type="text">
<button></button><p style="color:#bbb;background:#fff">too faint to read</p></main></html>"""


def test_a_broken_page_is_found(page: Page) -> None:
    """A field without a label (WCAG 4.1.2), a button without a name (4.1.2), grey on white at 1.9 : 1 (1.4.3)."""
    page.set_content(BROKEN)
    grave = {fault["id"] for fault in faults_of(page) if fault["impact"] in GRAVE}
    assert {"label", "button-name", "color-contrast"} <= grave


def settled(page: Page, url: str) -> None:
    """The invented songs are measured: sheets have lanes, the desk has rows."""
    page.goto(f"{url}/desk/")
    expect(page.get_by_text("Clipped peaks").first).to_be_visible(timeout=MEASURED_WITHIN_MS)


def asked_by_ear(page: Page) -> str:
    """The drummer asks about a song on the desk; the address of the question, once it is out."""
    page.locator("[data-key-next] a").first.click()
    with page.expect_navigation():
        page.get_by_role("button", name="Ask the client: is this right?").click()
    link = page.locator("#listening").get_by_role("link", name="Listen")
    for _ in range(60):
        page.reload()
        if link.count():
            return page.url.split("/songs/")[0] + str(link.get_attribute("href"))
        page.wait_for_timeout(1000)
    raise AssertionError("the eight bars were not cut within a minute")


@needs_proc
def test_no_page_has_a_serious_fault(chromium: Browser, house_dir: Path) -> None:
    faults = Faults()
    with demo(house_dir) as (_, house), windows(chromium) as new_window:
        for who in ("drummer", "client"):
            page = new_window()
            Person(page, house["url"], faults.look).sign_in(house[who]["email"], house[who]["password"])
            if who == "drummer":
                settled(page, house["url"])
                question = asked_by_ear(page)
            every_page(page, f"{house['url']}/{'desk' if who == 'drummer' else 'board'}/", faults.look)
            page.goto(question)
            faults.look(page, "/excerpts/N/")
    assert set(faults.looked_at) >= MUST_SEE
    assert not faults.grave, "\n".join(faults.grave)
