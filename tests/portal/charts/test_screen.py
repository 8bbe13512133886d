"""The chart's editor in a browser: by keys and by fields, with nothing lost on the way."""

from __future__ import annotations

import pytest
from playwright.sync_api import Page, Route, expect
from pytest_django.live_server_helper import LiveServer

from portal.charts.models import ChartVersion
from tests.factories import PASSWORD, make_booking, make_chart_version, make_drummer, make_song

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


@pytest.fixture
def version() -> ChartVersion:
    drummer = make_drummer()
    return make_chart_version(song=make_song(booking=make_booking(created_by=drummer, stage="working")))


@pytest.fixture
def editor(page: Page, live_server: LiveServer, version: ChartVersion) -> Page:
    page.goto(f"{live_server.url}/sign-in/")
    page.get_by_label("E-mail").fill(version.saved_by.email)
    page.get_by_label("Password").fill(PASSWORD)
    page.keyboard.press("Enter")
    page.wait_for_url(lambda url: "sign-in" not in url)
    page.goto(f"{live_server.url}/songs/{version.song_id}/chart/")
    expect(page.locator("[data-bar]")).to_have_count(8)
    return page


def test_two_names_in_a_row_and_then_a_bar(editor: Page) -> None:
    """What is typed goes into the field that was clicked, and the bar that is clicked is the one that is meant."""
    names = editor.locator("[data-section] [name=name]")
    names.nth(0).click()
    editor.keyboard.press("ControlOrMeta+a")
    editor.keyboard.type("Opening")
    names.nth(1).click()
    editor.keyboard.press("ControlOrMeta+a")
    editor.keyboard.type("Out")
    editor.locator('[data-bar="7"]').click()
    editor.keyboard.press("n")
    expect(editor.locator("[data-section]")).to_have_count(3)
    values = [names.nth(place).input_value() for place in range(3)]
    assert values == ["Opening", "Out", ""]


def test_an_edit_outlives_a_reload_and_is_saved_as_a_version(editor: Page, version: ChartVersion) -> None:
    editor.locator('[data-bar="3"]').focus()
    editor.keyboard.press("%")
    expect(editor.locator('[data-bar="3"] .chart-shows')).to_have_text("%")
    expect(editor.locator("[data-chart-state]")).to_have_text("Not saved yet.")
    editor.keyboard.press("ArrowRight")
    expect(editor.locator('[data-bar="4"]')).to_be_focused()
    editor.keyboard.press("x")
    editor.reload()
    editor.get_by_role("button", name="Restore").click()
    expect(editor.locator('[data-bar="3"] .chart-shows')).to_have_text("%")
    editor.get_by_role("button", name="Save as a new version").click()
    expect(editor.locator("[data-chart-said]")).to_have_text("Version 2 is saved. Its pages are engraved next.")
    expect(editor.locator("[data-chart-state]")).to_have_text("Version 2.")
    bars = version.song.chart_versions.get(number=2).chart["sections"][0]["bars"]
    assert bars[2] == {"shows": "repeat-1", "decided": ["content"]}
    assert bars[3] == {"decided": ["hits"]}


def test_what_is_restored_still_says_which_version_it_began_from(editor: Page, version: ChartVersion) -> None:
    """Another window saves version 2 meanwhile: neither the work nor what is restored of it goes over that unasked."""
    editor.locator('[data-bar="3"]').focus()
    editor.keyboard.press("%")
    make_chart_version(song=version.song)
    save = editor.get_by_role("button", name="Save as a new version")
    said = editor.locator("[data-chart-said]")
    save.click()
    expect(said).to_contain_text("saved version 2 meanwhile, and you began with version 1.")
    editor.get_by_role("link", name="Open the newest version").click()
    for _ in range(2):  # the second time after a reload of what was restored
        editor.get_by_role("button", name="Restore").click()
        expect(editor.locator('[data-bar="3"] .chart-shows')).to_have_text("%")
        save.click()
        expect(said).to_contain_text("saved version 2 meanwhile, and you began with version 1.")
        editor.reload()
    assert version.song.chart_versions.count() == 2


def test_a_repeat_shows_the_song_s_bars_and_hits_are_counted(editor: Page) -> None:
    editor.locator('[data-bar="1"]').click()
    editor.get_by_text("Repeats and jumps").click()
    editor.get_by_label("repeat begins").check()
    editor.locator('[data-bar="4"]').click()
    editor.get_by_label("Repeat ends, played in all").fill("2")
    editor.get_by_role("textbox", name="Hits").fill("1, 1a, 4&")
    editor.get_by_role("textbox", name="Hits").blur()
    numbers = editor.locator(".chart-number")
    expect(numbers.nth(3)).to_have_text("4 (8)")
    expect(numbers.nth(4)).to_have_text("9")
    expect(editor.locator(".chart-count").first).to_have_text("4 bars × 2")
    expect(editor.locator('[data-bar="4"] .chart-words')).to_contain_text("hits 1, 1a, 4&")


def test_the_tools_stay_in_sight(editor: Page) -> None:
    """On a screen that the whole editor does not fit on."""
    editor.set_viewport_size({"width": 1180, "height": 420})
    editor.locator('[data-bar="8"]').click()
    expect(editor.get_by_role("button", name="Save as a new version")).to_be_in_viewport()


def test_on_a_phone_the_fields_of_a_bar_stay_near_the_bars(editor: Page) -> None:
    """A chart of 48 bars: grid and fields take less than 1.2 screens, and a key moves the grid."""
    editor.set_viewport_size({"width": 390, "height": 844})
    editor.locator('[data-bar="1"]').focus()
    for _ in range(40):
        editor.keyboard.press("i")
    expect(editor.locator("[data-bar]")).to_have_count(48)
    grid, fields = (editor.locator(name).bounding_box() for name in ("[data-chart-grid]", "[data-chart-bar]"))
    assert grid is not None
    assert fields is not None
    assert fields["y"] + fields["height"] - grid["y"] < 1.2 * 844
    editor.keyboard.press("End")
    expect(editor.locator('[data-bar="48"]')).to_be_in_viewport()


def test_what_is_being_typed_stays_when_the_server_answers(editor: Page) -> None:
    address = editor.locator("[data-chart-try]").get_attribute("data-chart-try") or ""
    held: list[Route] = []
    editor.route(f"**{address}", lambda route: held.append(route))  # noqa: PLW0108  takes no built-in
    editor.locator('[data-bar="3"]').click()
    with editor.expect_request(f"**{address}"):
        editor.keyboard.press("%")
    words = editor.locator("[name=words]")
    words.fill("Tutti")
    with editor.expect_response(f"**{address}"):
        held[0].continue_()
    expect(words).to_have_value("Tutti")
    editor.unroute(f"**{address}")
    words.blur()
    expect(editor.locator('[data-bar="3"] .chart-words')).to_contain_text("Tutti")
