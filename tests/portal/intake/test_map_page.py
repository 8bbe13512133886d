"""The page on which a tempo map is made by hand, in a browser. Approved: 112, bar one at 2 s of 60."""

from __future__ import annotations

import re
from typing import NamedTuple

import pytest
from django.test import Client
from django.urls import reverse
from playwright.sync_api import CDPSession, Page, expect
from pytest_django.live_server_helper import LiveServer

from portal.bookings.models import Song
from tests.browsing import sign_in
from tests.factories import make_drummer, make_map
from tests.portal.intake.conftest import DRIFT_BPM

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


@pytest.fixture
def page_of(live_server: LiveServer, client: Client, page: Page, played: Song) -> Page:
    client.force_login(make_drummer())
    sign_in(page, live_server, client)
    page.goto(f"{live_server.url}{reverse('intake:map', args=[played.pk])}")
    page.locator("[data-map-rows] tr").first.wait_for()
    return page


def rows(page: Page) -> list[str]:
    return page.locator("[data-map-rows] th").all_inner_texts()


def test_an_anchor_pulled_onto_the_playing_mends_the_drift_and_is_approved(page_of: Page, played: Song) -> None:
    page_of.get_by_label("Bar", exact=True).fill("25")
    page_of.get_by_role("button", name="Add anchor").click()
    expect(page_of.locator("[data-map-rows] tr")).to_have_count(2)
    page_of.locator("[data-map-rows] tr").nth(1).get_by_label("Time of bar 25").focus()
    page_of.get_by_role("button", name="Snap to playing").click()
    expect(page_of.locator("[data-map-rows] tr").first.locator("td[data-figure=bpm]")).to_contain_text(
        re.compile(r"^111\.(9|899)")
    )
    page_of.locator("[data-map-rows] tr").nth(1).get_by_label("Tempo from bar 25").fill("111.9")
    page_of.keyboard.press("Tab")
    expect(page_of.locator("[data-map-spread]")).to_have_text(re.compile(r"within 0(\.\d)? ms"))
    page_of.get_by_role("button", name="Approve this map").click()
    expect(page_of.get_by_text("The tempo map is approved (version 2).")).to_be_visible()
    kept = played.maps.first()
    assert kept is not None
    assert kept.map["segments"][0]["bpm"] == pytest.approx(DRIFT_BPM, abs=0.01)


def test_an_odd_bar_undo_and_again(page_of: Page) -> None:
    page_of.get_by_label("Bar", exact=True).fill("9")
    page_of.get_by_role("button", name="Set odd bar").click()
    expect(page_of.locator("[data-map-rows] tr")).to_have_count(3)
    assert rows(page_of) == ["Bar 1", "Bar 9", "Bar 10"]
    page_of.get_by_role("button", name="Undo").click()
    expect(page_of.locator("[data-map-rows] tr")).to_have_count(1)
    page_of.keyboard.press("Control+Shift+Z")
    expect(page_of.locator("[data-map-rows] tr")).to_have_count(3)
    page_of.get_by_role("button", name="Undo").click()
    page_of.get_by_role("button", name="Undo").click()
    expect(page_of.locator("[data-map-said]")).to_have_text("Nothing to undo.")


def test_half_twice_and_turned(page_of: Page) -> None:
    tempo = page_of.get_by_label("Tempo from bar 1")
    page_of.get_by_role("button", name="Half the tempo").click()
    expect(tempo).to_have_value("56")
    page_of.get_by_role("button", name="Twice the tempo").click()
    expect(tempo).to_have_value("112")
    page_of.get_by_role("button", name="Beat one a beat later").click()
    expect(page_of.get_by_label("Time of bar 1,")).to_have_value(f"{2 + 60 / 112:.6f}")


def test_keys_on_the_picture_move_the_anchor_in_milliseconds(page_of: Page) -> None:
    page_of.locator("canvas").focus()
    page_of.keyboard.press("ArrowDown")
    page_of.keyboard.press("Shift+ArrowDown")
    page_of.keyboard.press("ArrowUp")
    expect(page_of.get_by_label("Time of bar 1,")).to_have_value("2.010000")


def test_a_handle_pulled_down_moves_the_anchor_later(page_of: Page) -> None:
    box = page_of.locator("canvas").bounding_box()
    assert box is not None
    x = box["x"] + box["width"] * 2 / 60
    page_of.mouse.move(x, box["y"] + 145)
    page_of.mouse.down()
    page_of.mouse.move(x, box["y"] + 145 + 46, steps=4)
    page_of.mouse.up()
    expect(page_of.get_by_label("Time of bar 1,")).to_have_value("2.020000")  # 46 px of 230 for 100 ms: 20 ms
    page_of.get_by_role("button", name="Undo").click()
    expect(page_of.get_by_label("Time of bar 1,")).to_have_value("2.000000")


def test_a_reload_loses_nothing(page_of: Page) -> None:
    page_of.get_by_role("button", name="Twice the tempo").click()
    page_of.get_by_label("Note").fill("felt in eighths")
    page_of.get_by_role("button", name="Beat one a beat later").click()
    page_of.reload()
    expect(page_of.get_by_text("An unapproved map is saved in this browser")).to_be_visible()
    expect(page_of.get_by_label("Tempo from bar 1")).to_have_value("112")
    page_of.get_by_role("button", name="Restore").click()
    expect(page_of.get_by_label("Tempo from bar 1")).to_have_value("224")
    expect(page_of.get_by_label("Note")).to_have_value("felt in eighths")
    page_of.get_by_role("button", name="Undo").click()
    expect(page_of.get_by_label("Time of bar 1,")).to_have_value("2.000000")
    page_of.reload()
    page_of.get_by_role("button", name="Discard").click()
    page_of.reload()
    expect(page_of.locator("[data-map-rows] tr")).to_have_count(1)
    expect(page_of.get_by_text("An unapproved map")).to_be_hidden()


def test_a_free_passage_and_a_pickup(page_of: Page) -> None:
    page_of.get_by_label("From bar", exact=True).fill("5")
    page_of.get_by_label("to the end of bar").fill("8")
    page_of.get_by_role("button", name="Make free").click()
    expect(page_of.locator("[data-map-rows] tr")).to_have_count(3)
    assert rows(page_of) == ["Bar 1", "Bar 5", "Bar 9"]
    expect(page_of.get_by_label("Free passage from bar 5")).to_be_checked()
    expect(page_of.locator("[data-map-rows] tr").nth(1).locator("td[data-figure=late]")).to_have_text("free")
    page_of.get_by_label("Free passage from bar 5").focus()
    page_of.keyboard.press("Space")
    expect(page_of.get_by_label("Free passage from bar 5")).not_to_be_checked()
    expect(page_of.get_by_label("Free passage from bar 5")).to_be_focused()
    page_of.get_by_role("button", name="Pickup: add a bar before the first").click()
    expect(page_of.locator("[data-map-rows] th").first).to_have_text("Bar 0")
    expect(page_of.get_by_label("Time of bar 0,")).to_have_value(f"{2 - 240 / 112:.6f}")


# The lanes' head, as far as the picture moves it.
SOUGHT = """async () => {
  window.sought = [];
  (await import("kitpost/map/live")).MapLive.prototype.seek = (timeS) => sought.push(timeS);
}"""
CANCEL = (
    "document.querySelector('.map-editor canvas').dispatchEvent(new PointerEvent('pointercancel', { pointerId: 1 }))"
)


class Finger(NamedTuple):
    """A finger on a phone: where the picture is, and touches as the browser gets them from the screen."""

    page: Page
    screen: CDPSession

    def touch(self, kind: str, *places: tuple[float, float]) -> None:
        points = [{"x": x, "y": y} for x, y in places]
        self.screen.send("Input.dispatchTouchEvent", {"type": kind, "touchPoints": points})

    def at(self, time_s: float, y: float) -> tuple[float, float]:
        """The picture's top is at 0; its middle line, with the handles, at 145."""
        box = self.page.locator(".map-editor canvas").bounding_box()
        assert box is not None
        return box["x"] + box["width"] * time_s / 60, box["y"] + y

    def drag(self, start: tuple[float, float], by_px: int, end: str = "touchEnd", *, aside_px: int = 0) -> None:
        self.touch("touchStart", start)
        for step in range(1, 11):
            self.touch("touchMove", (start[0] + aside_px * step / 10, start[1] + by_px * step / 10))
        self.touch(end)

    def scrolled_px(self) -> float:
        scrolled: float = self.page.evaluate("scrollY")
        return scrolled


class TestFinger:
    @pytest.fixture
    def finger(self, page_of: Page) -> Finger:
        screen = page_of.context.new_cdp_session(page_of)
        screen.send("Emulation.setTouchEmulationEnabled", {"enabled": True})
        page_of.set_viewport_size({"width": 390, "height": 844})
        page_of.evaluate(SOUGHT)
        page_of.evaluate("document.querySelector('.map-editor canvas').scrollIntoView({ block: 'center' })")
        page_of.wait_for_timeout(100)
        return Finger(page_of, screen)

    def test_on_a_handle_it_pulls_and_the_page_stays(self, finger: Finger) -> None:
        """46 px of 230 for 100 ms are 20 ms."""
        before = finger.scrolled_px()
        finger.drag(finger.at(2, 145), 46)
        expect(finger.page.get_by_label("Time of bar 1,")).to_have_value("2.020000")
        assert finger.scrolled_px() == before
        finger.page.get_by_role("button", name="Undo").click()
        expect(finger.page.get_by_label("Time of bar 1,")).to_have_value("2.000000")

    @pytest.mark.parametrize("place", [(30, 145), (2, 60)], ids=["beside a handle", "on its line, far from the handle"])
    def test_elsewhere_it_scrolls_and_nothing_is_pulled(self, finger: Finger, place: tuple[float, float]) -> None:
        before = finger.scrolled_px()
        finger.drag(finger.at(*place), -120)
        finger.page.wait_for_function("(before) => scrollY > before + 60", arg=before)
        expect(finger.page.get_by_label("Time of bar 1,")).to_have_value("2.000000")
        assert finger.page.evaluate("sought") == []

    def test_to_the_side_it_moves_the_view(self, finger: Finger) -> None:
        """The lanes show 20 s to 30 s; a quarter of the picture's width to the left is 2.5 s on."""
        finger.page.evaluate(
            """async () => Object.defineProperty((await import("kitpost/map/live")).MapLive.prototype, "lanes", {
                get: () => ({ view: { startS: 20, endS: 30 }, setView: (view) => { window.viewed = view; } }) })"""
        )
        box = finger.page.locator(".map-editor canvas").bounding_box()
        assert box is not None
        finger.drag(finger.at(40, 60), 0, aside_px=-round(box["width"] / 4))
        viewed = finger.page.evaluate("viewed")
        assert (viewed["startS"], viewed["endS"]) == pytest.approx((22.5, 32.5), abs=0.05)
        assert finger.page.evaluate("sought") == []

    def test_a_pull_to_the_side_is_no_step(self, finger: Finger) -> None:
        finger.page.get_by_role("button", name="Half the tempo").click()
        finger.page.evaluate("document.querySelector('.map-editor canvas').scrollIntoView({ block: 'center' })")
        finger.drag(finger.at(2, 145), 0, aside_px=30)
        finger.page.get_by_role("button", name="Undo").click()
        expect(finger.page.get_by_label("Tempo from bar 1")).to_have_value("112")

    def test_the_pad_stays_under_the_finger(self, finger: Finger) -> None:
        pad = finger.page.locator(".tap-pad")
        pad.evaluate("(pad) => (pad.closest('fieldset').hidden = false)")
        pad.scroll_into_view_if_needed()
        before = pad.bounding_box()
        pad.click()
        expect(finger.page.get_by_text("Start playback first")).to_be_visible()
        assert pad.bounding_box() == before

    def test_a_tap_beside_a_handle_puts_the_head_there(self, finger: Finger) -> None:
        finger.touch("touchStart", finger.at(30, 145))
        finger.touch("touchEnd")
        assert finger.page.evaluate("sought") == [pytest.approx(30, abs=0.1)]

    def test_a_pull_that_the_browser_takes_away_is_none_and_leaves_nothing_behind(self, finger: Finger) -> None:
        """Later pulls and taps put no older map back: what was typed meanwhile stays."""
        finger.drag(finger.at(2, 145), 46, "touchCancel")
        time = finger.page.get_by_label("Time of bar 1,")
        expect(time).to_have_value("2.000000")
        time.fill("2.5")
        time.press("Tab")
        finger.drag(finger.at(30, 145), 0)
        finger.touch("touchStart", finger.at(30, 145))
        finger.touch("touchCancel")
        expect(time).to_have_value("2.500000")
        finger.page.get_by_role("button", name="Undo").click()
        expect(time).to_have_value("2.000000")
        finger.page.get_by_role("button", name="Undo").click()
        expect(finger.page.locator("[data-map-said]")).to_have_text("Nothing to undo.")

    def test_a_mere_tap_on_a_handle_moves_nothing(self, finger: Finger) -> None:
        finger.drag(finger.at(2, 145), 2)
        finger.page.get_by_role("button", name="Undo").click()
        expect(finger.page.locator("[data-map-said]")).to_have_text("Nothing to undo.")


def test_pulls_by_mouse_put_no_older_map_back(page_of: Page) -> None:
    box = page_of.locator(".map-editor canvas").bounding_box()
    assert box is not None
    x, y = box["x"] + box["width"] * 2 / 60, box["y"] + 145
    for _ in range(2):
        page_of.mouse.move(x, y)
        page_of.mouse.down()
        page_of.mouse.move(x, y + 23, steps=2)
        page_of.mouse.up()
    time = page_of.get_by_label("Time of bar 1,")
    expect(time).to_have_value("2.020000")
    time.fill("2.5")
    time.press("Tab")
    page_of.evaluate(CANCEL)
    assert '"time_s":2.5,' in page_of.locator("[name=map]").input_value()
    page_of.get_by_role("button", name="Undo").click()
    expect(time).to_have_value("2.020000")


def test_a_map_that_was_refused_is_kept_with_its_steps_and_offered_beside_theirs(page_of: Page, played: Song) -> None:
    page_of.get_by_label("Count-in of the click").fill("3")
    page_of.get_by_role("button", name="Twice the tempo").click()
    expect(page_of.get_by_label("Tempo from bar 1")).to_have_value("224")
    make_map(song=played, bpm=113)
    page_of.get_by_role("button", name="Approve this map").click()
    expect(page_of.get_by_text("Version 2 was approved by")).to_be_visible()
    expect(page_of.get_by_label("Tempo from bar 1")).to_have_value("224")
    expect(page_of.get_by_label("Count-in of the click")).to_have_value("3")
    expect(page_of.get_by_text("An unapproved map")).to_be_hidden()
    page_of.get_by_role("link", name="See the approved map").click()
    expect(page_of.get_by_label("Tempo from bar 1")).to_have_value("113")
    page_of.get_by_role("button", name="Restore").click()
    expect(page_of.get_by_label("Tempo from bar 1")).to_have_value("224")
    expect(page_of.get_by_label("Count-in of the click")).to_have_value("3")
    page_of.get_by_role("button", name="Undo").click()
    expect(page_of.get_by_label("Tempo from bar 1")).to_have_value("112")
    page_of.get_by_role("button", name="Redo").click()
    page_of.get_by_role("button", name="Approve this map").click()
    expect(page_of.get_by_text("The tempo map is approved (version 3).")).to_be_visible()
    page_of.get_by_role("link", name=re.compile("by hand")).first.click()
    page_of.locator("[data-map-rows] tr").first.wait_for()
    expect(page_of.get_by_text("An unapproved map")).to_be_hidden()


def test_empty_fields_are_no_bar_0_where_a_pickup_is_counted(page_of: Page) -> None:
    page_of.get_by_role("button", name="Pickup: add a bar before the first").click()
    expect(page_of.locator("[data-map-rows] th").first).to_have_text("Bar 0")
    page_of.get_by_role("button", name="Make free").click()
    expect(page_of.locator("[data-map-said]")).to_have_text("Not possible here.")
    expect(page_of.get_by_label("Free passage from bar 0")).not_to_be_checked()
    time = page_of.get_by_label("Time of bar 1,")
    time.fill("")
    time.press("Tab")
    expect(time).to_have_value("2.000000")
