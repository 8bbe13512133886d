"""A written rhythm as a person types it: each note lasts until the next, and brackets are rests."""

from __future__ import annotations

import pytest
from playwright.sync_api import Page

from tests.portal.static.js.lib.test_sums import ask

pytestmark = pytest.mark.browser

RHYTHMS: dict[tuple[str, str], list[tuple[float | str, float | str]]] = {
    ("4/4", "1, 2, 3, 4"): [(1, 1), (2, 1), (3, 1), (4, 1)],
    ("4/4", "1, 2&, (3), 4"): [(1, 1.5), (2.5, 0.5), (4, 1)],
    ("4/4", "2, 4a"): [(2, 2.75), (4.75, 0.25)],
    ("4/4", "1, 1 trip, 1 let, (2)"): [(1, "1/3"), ("4/3", "1/3"), ("5/3", "1/3")],
    ("4/4", "(1), 2"): [(2, 3)],
    ("6/8", "1, 4, (6)"): [(1, 3), (4, 2)],
    ("4/4", ""): [],
}


@pytest.mark.parametrize(("meter", "text"), RHYTHMS)
def test_what_is_typed_is_read_and_shown_again(ready: Page, meter: str, text: str) -> None:
    found = ask(ready, "chart/rhythm", "m.rhythmIn(given[0], given[1])", meter, text)

    assert [(one["beat"], one["length"]) for one in found] == RHYTHMS[meter, text]
    shown = text.removeprefix("(1), ")  # before the first note there is a rest anyway
    assert ask(ready, "chart/rhythm", "m.rhythmSaid(given[0], given[1])", meter, found) == shown


@pytest.mark.parametrize("typed", ["5", "2, 1", "1, 1", "(1", "1)", "x", "1 2", "()"])
def test_what_is_no_rhythm_of_the_bar_is_none(ready: Page, typed: str) -> None:
    assert ask(ready, "chart/rhythm", "m.rhythmIn('4/4', given[0])", typed) is None
