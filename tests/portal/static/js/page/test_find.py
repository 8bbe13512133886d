"""The key that goes to the search field."""

from __future__ import annotations

import pytest
from playwright.sync_api import Page, expect

from tests.portal.static.conftest import Show

pytestmark = pytest.mark.browser

PAGE = """<form action="/search/"><input name="q" type="search" value="kettle" data-find></form>
<textarea name="note"></textarea><input type="checkbox"><input type="text" name="title"><audio controls></audio>"""


@pytest.fixture
def shown(page: Page, show: Show) -> Page:
    show(PAGE)
    return page


@pytest.mark.parametrize("before", ["body", "[type=checkbox]", "audio"])
def test_a_stroke_goes_to_the_field_and_takes_up_what_is_in_it(shown: Page, before: str) -> None:
    shown.locator(before).focus()
    shown.keyboard.press("/")
    expect(shown.locator("[data-find]")).to_be_focused()
    shown.keyboard.type("ladder")
    expect(shown.locator("[data-find]")).to_have_value("ladder")


@pytest.mark.parametrize("name", ["note", "title"])
def test_a_stroke_that_is_typed_stays_a_stroke(shown: Page, name: str) -> None:
    field = shown.locator(f"[name={name}]")
    field.focus()
    shown.keyboard.type("6/8")
    expect(field).to_have_value("6/8")
