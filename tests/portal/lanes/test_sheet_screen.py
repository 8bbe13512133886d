"""The song sheet on one laptop screen, in a browser: findings and lanes move each other, keys answer."""

from __future__ import annotations

import pytest
from django.test import Client
from playwright.sync_api import Page, expect
from pytest_django.live_server_helper import LiveServer

from portal.intake.models import Finding, SourceFile
from tests.browsing import sign_in
from tests.factories import make_check, make_finding

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


@pytest.fixture
def finding(copied: SourceFile) -> Finding:
    """Clipped at 5 s in the one file of the song."""
    make_check(song=copied.song)
    return make_finding(
        song=copied.song,
        code="clipped",
        source=copied,
        place={"time_s": 5.0},
        value={"places": 3, "runs": 40, "level_dbfs": -0.1, "longest_frames": 12},
    )


@pytest.fixture
def sheet(live_server: LiveServer, client: Client, page: Page, finding: Finding) -> Page:
    client.force_login(finding.song.booking.created_by)
    sign_in(page, live_server, client)
    page.goto(f"{live_server.url}/songs/{finding.song_id}/sheet/")
    page.locator("#lanes[data-state=drawn]").wait_for()
    return page


def test_what_a_song_is_judged_by_is_on_the_first_screen(sheet: Page) -> None:
    """1440 x 900, nothing scrolled."""
    for part in (".turn", "#gate", ".facts-strip", ".approve-bar", "#findings .finding", "#lanes canvas >> nth=0"):
        box = sheet.locator(part).first.bounding_box()
        assert box is not None
        assert box["y"] >= 0, part
        assert box["y"] + box["height"] <= 900, part
        assert box["x"] + box["width"] <= 1440, part


def test_a_finding_moves_the_lanes_and_the_lanes_mark_the_finding(sheet: Page, finding: Finding) -> None:
    row = sheet.locator(f"[data-finding='{finding.pk}']")
    row.get_by_role("button", name="Clipped").click()
    expect(sheet.locator("[data-lanes-where]")).to_contain_text("0:05.0")
    expect(row).to_have_attribute("aria-current", "true")

    row.evaluate("row => row.removeAttribute('aria-current')")
    sheet.locator("#lanes canvas").first.focus()
    sheet.keyboard.press("Home")
    sheet.evaluate("document.querySelector('[data-lanes]').lanes.seek(0)")
    sheet.keyboard.press("f")  # the next finding
    expect(row).to_have_attribute("aria-current", "true")


def test_a_lane_s_name_marks_what_was_found_in_it(sheet: Page, finding: Finding) -> None:
    sheet.locator("[data-lanes-list] .name").click()
    expect(sheet.locator(f"[data-finding='{finding.pk}']")).to_have_attribute("aria-current", "true")


def test_the_question_mark_shows_the_keys_of_this_page(sheet: Page) -> None:
    sheet.keyboard.press("?")
    keys = sheet.get_by_role("dialog")
    for words in ("P ▶ Play", "D Desk", "/ Search everything", "? These keys"):
        expect(keys).to_contain_text(words)
    sheet.keyboard.press("Escape")
    expect(keys).to_have_count(0)


def test_a_key_that_has_nothing_to_press_says_why(sheet: Page) -> None:
    sheet.keyboard.press("r")
    expect(sheet.locator("main [role=status]").first).to_contain_text("Not ready yet")


def test_a_key_works_after_a_slider_was_pressed(sheet: Page) -> None:
    sheet.locator("[data-lanes-level]").click()
    sheet.keyboard.press("c")
    expect(sheet.locator("[data-lanes-do=count]")).to_have_attribute("aria-pressed", "true")
