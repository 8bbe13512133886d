"""From the desk to a song that is ready, without a mouse."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

import pytest
from playwright.sync_api import expect

from tests.flows.keyboard import Keyboard
from tests.flows.people import MEASURED_WITHIN_MS, Person, windows
from tests.houses import OpenHouse, needs_proc

if TYPE_CHECKING:
    from playwright.sync_api import Browser, Page

pytestmark = [pytest.mark.browser, needs_proc]
APPROVED = re.compile(r"The tempo map is approved .*\(version \d\)|The tempo map is approved \(version")
HEAD_S = "document.querySelector('[data-lanes]').lanes.headS"


def test_the_desk_and_the_sheet_are_worked_by_keys_alone(chromium: Browser, quiet_house: OpenHouse) -> None:
    house = quiet_house.said
    with windows(chromium) as new_window:
        page = new_window()
        Person(page, house["url"], lambda _, __: None).sign_in(**house["drummer"])
        page.goto(f"{house['url']}/desk/")
        expect(page.get_by_text("Clipped peaks").first).to_be_visible(timeout=MEASURED_WITHIN_MS)
        keys = Keyboard(page)
        assert keys.walk() > 10
        keys.row("Damp Receipt Near Cupboard")
        keys.opens("Enter", r"/sheet/$")
        the_sheet_is_heard_and_seen(keys)
        a_finding_is_waived(keys)
        the_map_is_made(keys)
        the_tempo_is_tapped(keys)
        keys.opens("n", r"/sheet/$")
        expect(page.get_by_role("heading", level=1)).to_have_text("Wet Stairs Beside Kettle")
        the_client_is_asked(keys)
        another_reading_is_taken(keys)
        keys.press("a")  # no single key puts another map over one that is approved
        keys.tab_to("Approve as measured")
        keys.opens("Enter", r"/sheet/")
        expect(page.locator("#tempo h2")).to_contain_text("version 2, as measured")
        keys.opens("r", r"/songs/\d+/$")
        expect(page.get_by_text(re.compile("ready to track", re.IGNORECASE)).first).to_be_visible()
        keys.tab_to("^Desk$", "a")
        keys.opens("Enter", r"/desk/$")


def the_sheet_is_heard_and_seen(keys: Keyboard) -> None:
    """Through the whole sheet by Tab; then a finding's place, playing, half speed, a bar, some bars round."""
    page = keys.page
    expect(page.locator("[data-lanes]")).to_have_attribute("data-state", "drawn")
    assert keys.walk() > 40
    keys.tab_to("^Clipped peaks$", "button")
    keys.press("Enter")
    assert page.evaluate(HEAD_S) == pytest.approx(7.7, abs=0.1)
    keys.press("p")
    keys.tab_to("I have turned down")
    keys.press("Enter")
    playing(page, is_so=True)
    keys.press("s")
    playing(page, is_so=False)
    keys.press("h")
    assert page.evaluate("document.querySelector('[data-lanes]').lanes.transport.factor") == 2
    keys.press("h")
    keys.tab_to("^Bar$", "input")
    keys.type("9")
    keys.tab_to("Go to bar")
    keys.press("Enter")
    # Bar nine at 128 bpm in 4/4 from 0: 8 × 4 × 60 / 128 s.
    assert page.evaluate(HEAD_S) == pytest.approx(15.0, abs=0.01)
    keys.tab_to("First bar")
    keys.type("5")
    keys.tab_to("Last bar")
    keys.type("6")
    keys.tab_to("Loop")
    keys.press("Enter")
    expect(page.get_by_text("Looping bars 5 to 6.")).to_be_visible()


def playing(page: Page, *, is_so: bool) -> None:
    page.wait_for_function(f"document.querySelector('[data-lanes]').lanes.transport.isPlaying === {str(is_so).lower()}")


def a_finding_is_waived(keys: Keyboard) -> None:
    page = keys.page
    open_before = page.locator("#findings summary", has_text="Waive").count()
    keys.tab_to("^Waive$", "summary")
    keys.press("Enter")
    keys.tab_to("Why it does not matter")
    keys.type("heard it, fine")
    keys.press("Enter")
    expect(page.locator("#findings summary", has_text="Waive")).to_have_count(open_before - 1)


def the_map_is_made(keys: Keyboard) -> None:
    """An anchor moved by two milliseconds and back by one, undone, and the map approved; it is the sheet again then."""
    page = keys.page
    keys.opens("m", r"/map/$")
    keys.tab_to("The playing against the map", "canvas")
    time = page.get_by_label("Time of bar 1, in seconds")
    before_s = float(time.input_value())
    keys.press("ArrowDown", 2)
    keys.press("ArrowUp")
    expect(time).to_have_value(f"{before_s + 0.001:.6f}")
    keys.press("Control+z", 3)
    expect(time).to_have_value(f"{before_s:.6f}")
    keys.opens("a", r"/sheet/$")
    expect(page.get_by_text(APPROVED)).to_be_visible()


def the_client_is_asked(keys: Keyboard) -> None:
    keys.tab_to("Ask the client: is this right")
    keys.opens("Enter", r"/sheet/")
    expect(keys.page.locator("#listening article").first).to_be_visible()


def the_tempo_is_tapped(keys: Keyboard) -> None:
    """Eight taps every 469 ms are 128 a minute; the answer comes by itself, and the focus stays where it was."""
    page = keys.page
    page.evaluate("scrollTo(0, 0)")
    keys.tab_to("Approve as measured")
    keys.beat("t", 8, every_s=60 / 128)
    expect(page.locator("#tapped")).to_contain_text(re.compile(r"1[23]\d"))
    assert "Approve as measured" in str(page.evaluate("document.activeElement.innerText"))


def another_reading_is_taken(keys: Keyboard) -> None:
    keys.tab_to("Other readings", "summary")
    keys.press("Enter")
    keys.tab_to("It is 46.25 bpm")
    keys.opens("Enter", r"/sheet/")
    expect(keys.page.locator("#tempo h2")).to_contain_text("version 1")
