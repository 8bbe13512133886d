"""What is half written survives a reload, in its own field, until it is sent or its writer leaves."""

from __future__ import annotations

import pytest
from playwright.sync_api import Page, expect

from tests.portal.static.conftest import Show

pytestmark = pytest.mark.browser

PAGE = """<details><summary>Write</summary><form action="/write/" onsubmit="event.preventDefault()">
  <textarea name="body"></textarea><button>Send</button></form></details>
<form action="/brief/"><textarea name="notes">as it is</textarea></form>
<form action="/checked/"><textarea name="notes" aria-invalid="true">from the server</textarea></form>
<form action="/sign-out/" onsubmit="event.preventDefault()"><button>Leave</button></form>"""


@pytest.fixture
def written(page: Page, show: Show) -> Page:
    show(PAGE)
    page.locator("summary").click()
    page.locator("[name=body]").fill("Half a senten")
    return page


def test_a_reload_loses_nothing(written: Page) -> None:
    written.reload()
    expect(written.locator("[name=body]")).to_have_value("Half a senten")
    expect(written.locator("[name=body]")).to_be_visible()
    expect(written.locator("[action='/brief/'] textarea")).to_have_value("as it is")


@pytest.mark.parametrize("button", ["Send", "Leave"])
def test_what_is_sent_or_left_is_gone(written: Page, button: str) -> None:
    written.get_by_role("button", name=button).click()
    written.reload()
    expect(written.locator("[name=body]")).to_have_value("")


def test_what_was_taken_back_is_no_draft(written: Page) -> None:
    written.locator("[name=body]").fill("")
    written.reload()
    assert written.evaluate("Object.keys(sessionStorage).length") == 0


def test_what_came_back_to_be_mended_is_newer(written: Page) -> None:
    written.locator("[action='/checked/'] textarea").fill("older")
    written.reload()
    expect(written.locator("[action='/checked/'] textarea")).to_have_value("from the server")


@pytest.mark.parametrize(("notice", "value"), [("<b>Error:</b> not yet", "Half a senten"), ("It is on its way.", "")])
def test_what_was_refused_is_there_to_be_sent_again(page: Page, show: Show, notice: str, value: str) -> None:
    show(PAGE)
    page.locator("summary").click()
    page.locator("[name=body]").fill("Half a senten")
    page.get_by_role("button", name="Send").click()
    page.unroute_all()
    show(f'<ul class="notices"><li>{notice}</li></ul>{PAGE}')
    expect(page.locator("[name=body]")).to_have_value(value)
