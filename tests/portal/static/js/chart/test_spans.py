"""Beats of a bar as a person types them: the beat that is named last counts whole."""

from __future__ import annotations

import pytest
from playwright.sync_api import Page

from tests.portal.static.js.lib.test_sums import ask

pytestmark = pytest.mark.browser

SPANS: dict[tuple[str, str], list[tuple[float | str, float | str]]] = {
    ("4/4", "all"): [(1, 4)],
    ("4/4", "3-4"): [(3, 2)],
    ("4/4", "4"): [(4, 1)],
    ("4/4", "3&-4"): [(3.5, 1.5)],
    ("4/4", "4&"): [(4.5, 0.5)],
    ("4/4", "3 trip-4"): [("10/3", "5/3")],
    ("4/4", "1, 3-4"): [(1, 1), (3, 2)],
    ("6/8", "4-6"): [(4, 3)],
    ("4/4", ""): [],
}


@pytest.mark.parametrize(("meter", "text"), SPANS)
def test_what_is_typed_is_read_and_shown_again(ready: Page, meter: str, text: str) -> None:
    found = ask(ready, "chart/spans", "m.spansIn(given[0], given[1])", meter, text)

    assert [(one["beat"], one["beats"]) for one in found] == SPANS[meter, text]
    assert ask(ready, "chart/spans", "m.spansSaid(given[0], given[1])", meter, found) == text


@pytest.mark.parametrize(("typed", "shown"), [("1-4", "all"), ("ALL", "all"), (" 3 – 4 ;", "3-4")])
def test_what_is_the_same_is_shown_one_way(ready: Page, typed: str, shown: str) -> None:
    assert ask(ready, "chart/spans", "m.spansSaid('4/4', m.spansIn('4/4', given[0]))", typed) == shown


@pytest.mark.parametrize("typed", ["5", "0-2", "4-3", "1-2-3", "x", "1-2, 2-3", "-", "3-"])
def test_what_is_no_part_of_the_bar_is_none(ready: Page, typed: str) -> None:
    assert ask(ready, "chart/spans", "m.spansIn('4/4', given[0])", typed) is None
