"""Numbers as people type them."""

from __future__ import annotations

import pytest
from playwright.sync_api import Page

from tests.portal.static.js.lib.test_sums import ask

pytestmark = pytest.mark.browser


def test_an_empty_field_is_no_number(ready: Page) -> None:
    given = ["9", " 0 ", "-1", "", "  ", "x"]
    found = ask(
        ready,
        "lib/parse-number",
        "given.map((text) => { const one = m.parseNumber(text); return Number.isNaN(one) ? null : one; })",
        *given,
    )
    assert found == [9, 0, -1, None, None, None]
