"""Rehearsal letters stay in order of appearance, like sections alike."""

from __future__ import annotations

from typing import Any

import pytest
from playwright.sync_api import Page

from tests.portal.static.js.lib.test_sums import ask

pytestmark = pytest.mark.browser


def lettered(page: Page, *letters: str, typed: tuple[int, ...] = ()) -> list[str]:
    sections: list[dict[str, Any]] = [{"letter": letter, "bars": []} for letter in letters]
    for at in typed:
        sections[at]["decided"] = ["letter"]
    found: list[dict[str, Any]] = ask(page, "chart/letters", "m.relettered(given[0])", sections)
    return [one["letter"] for one in found]


def test_letters_follow_the_order_of_the_sections(ready: Page) -> None:
    """House choice, as copyists letter a chart: by first appearance; what comes again is numbered."""
    # C is split in A B C D: the new one is D, and what was D is E.
    assert lettered(ready, "A", "B", "C", "?", "D") == ["A", "B", "C", "D", "E"]
    # Like stays alike: the second verse is the verse still.
    assert lettered(ready, "A", "?", "B", "A2", "B2") == ["A", "B", "C", "A2", "C2"]
    # B was joined away.
    assert lettered(ready, "A", "C", "A2", "D") == ["A", "B", "A2", "C"]
    # A copy is the second of its kind.
    assert lettered(ready, "A", "B", "B", "C") == ["A", "B", "B2", "C"]


def test_what_a_person_typed_stays(ready: Page) -> None:
    assert lettered(ready, "A", "Solo 1", "?", "C", typed=(1,)) == ["A", "Solo 1", "B", "C"]
    assert lettered(ready, "A", "B", "?", "C", typed=(1,)) == ["A", "B", "C", "D"]
    assert lettered(ready, "?", "A", "B", typed=(1,)) == ["B", "A", "C"]
    assert lettered(ready, "", "A", "?") == ["", "A", "B"]


def test_after_z_come_double_letters(ready: Page) -> None:
    """Common practice of rehearsal marks."""
    alphabet = [chr(ord("A") + place) for place in range(26)]
    assert lettered(ready, *alphabet, "?")[-2:] == ["Z", "AA"]
