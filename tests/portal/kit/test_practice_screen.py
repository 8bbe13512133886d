"""Practice in a browser: what loops, how fast, and which clicks are left; by fields."""

from __future__ import annotations

from typing import Any

import pytest
from playwright.sync_api import Page, expect

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

KIT = "document.querySelector('[data-kit]').kit"


@pytest.fixture
def practice(opened: Page) -> Page:
    opened.get_by_text("Practice", exact=True).click()
    return opened


def fill(page: Page, label: str, value: str) -> None:
    field = page.get_by_label(label, exact=True)
    field.fill(value)
    field.blur()


def loop(page: Page) -> Any:
    return page.evaluate(f"{KIT}.transport.loop")


def test_any_bars_loop_and_bars_that_are_not_there_do_not(practice: Page) -> None:
    """A bar is 2 s and bar one begins at 2 s: bars 3 to 4 last from 6 s to 10 s (arithmetic)."""
    fill(practice, "Loop from bar", "3")
    fill(practice, "to bar", "4")
    assert loop(practice) == {"startS": 6, "endS": 10}
    expect(practice.locator("[data-kit-looping]")).to_have_text("Loop 3–4")
    fill(practice, "to bar", "99")
    expect(practice.locator("[data-kit-said]")).to_have_text("The song has no such bars.")
    assert loop(practice) == {"startS": 6, "endS": 10}
    practice.get_by_label("Loop a section").select_option("C, bars 9 to 11")
    assert loop(practice) == {"startS": 18, "endS": 24}
    practice.get_by_label("Loop a section").select_option("none")
    assert loop(practice) is None


def test_it_steps_up_after_as_many_rounds_as_were_asked_for_and_ends_at_the_song_s_tempo(practice: Page) -> None:
    """5 % more after every second round, from 85 to 100 %."""
    fill(practice, "Speed, %", "85")
    fill(practice, "5 % faster after rounds", "2")
    steps = practice.evaluate(f"Array.from({{ length: 8 }}, () => {KIT}.practice.round())")
    assert steps == [None, 0.9, None, 0.95, None, 1, None, None]
    expect(practice.get_by_label("Speed, %")).to_have_value("100")


def test_speed_goes_in_steps_and_no_lower_than_half(practice: Page) -> None:
    for _ in range(14):
        practice.keyboard.press("-")
    expect(practice.locator("[data-kit-pace]")).to_have_text("50 % of 120")
    for _ in range(3):
        practice.keyboard.press("+")
    expect(practice.locator("[data-kit-said]")).to_have_text("65 % of the tempo.")


def test_bars_without_click_are_those_that_were_asked_for(practice: Page) -> None:
    """Two bars with and one without: of eleven bars of four beats, bars 3, 6 and 9 are silent; in eighths the rest has
    eight clicks a bar."""
    fill(practice, "Bars with click", "2")
    fill(practice, "then bars without", "1")
    practice.get_by_label("Click on").select_option("eighths")
    times = practice.evaluate(f"{KIT}.transport.clickTimes.map(([timeS]) => timeS)")
    bars = [int((time_s - 2) / 2 + 1e-6) + 1 for time_s in times]
    assert {bar: bars.count(bar) for bar in bars} == dict.fromkeys((1, 2, 4, 5, 7, 8, 10, 11), 8)
