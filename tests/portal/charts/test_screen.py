"""The chart's editor in a browser: by keys and by fields, with nothing lost on the way."""

from __future__ import annotations

import re

import pytest
from django.test import Client
from playwright.sync_api import Page, Route, expect
from pytest_django.live_server_helper import LiveServer

from portal.charts.models import ChartFile, ChartVersion
from tests.browsing import sign_in
from tests.factories import make_booking, make_chart_version, make_drummer, make_song, store_content

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


@pytest.fixture
def version() -> ChartVersion:
    drummer = make_drummer()
    return make_chart_version(song=make_song(booking=make_booking(created_by=drummer, stage="working")))


@pytest.fixture
def editor(page: Page, live_server: LiveServer, client: Client, version: ChartVersion) -> Page:
    client.force_login(version.saved_by)
    sign_in(page, live_server, client)
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


def test_a_rhythm_is_written_and_taken_out_again(editor: Page, version: ChartVersion) -> None:
    editor.locator('[data-bar="2"]').focus()
    editor.get_by_text("Written rhythm", exact=True).click()
    rhythm = editor.get_by_label("Rhythm", exact=True)
    rhythm.fill("1,2&,(3),4")
    rhythm.blur()
    expect(editor.locator('[data-bar="2"] .chart-shows')).to_have_text("rhythm")
    expect(rhythm).to_have_value("1, 2&, (3), 4")
    expect(editor.locator("[data-chart-why]")).to_be_hidden()
    editor.get_by_role("button", name="Save as a new version").click()
    expect(editor.locator("[data-chart-state]")).to_have_text("Version 2.")
    bar = version.song.chart_versions.get(number=2).chart["sections"][0]["bars"][1]
    assert (bar["shows"], bar["decided"]) == ("rhythm", ["content"])
    assert [(note["beat"], note.get("length", 1)) for note in bar["notes"]] == [(1, 1.5), (2.5, 0.5), (4, 1)]
    rhythm.fill("")
    rhythm.blur()
    expect(editor.locator('[data-bar="2"] .chart-shows')).to_have_text("/ / / /")


def test_stops_fills_and_a_hold_take_the_beats_that_are_typed(editor: Page, version: ChartVersion) -> None:
    editor.locator('[data-bar="4"]').click()
    for name, text in (("stops", "1-2"), ("fills", "3&-4"), ("held", "2&")):
        editor.locator(f"[name={name}]").fill(text)
        editor.locator(f"[name={name}]").blur()
    expect(editor.locator('[data-bar="4"] .chart-words')).to_contain_text("stop 1-2 · fill 3&-4 · hold 2&")
    expect(editor.get_by_role("checkbox", name="everybody stops")).to_be_checked()
    editor.locator('[data-bar="3"]').click()
    expect(editor.locator("[name=stops]")).to_have_value("")
    editor.get_by_role("checkbox", name="everybody stops").check()
    expect(editor.locator("[name=stops]")).to_have_value("all")
    editor.locator('[data-bar="4"]').click()
    expect(editor.locator("[name=fills]")).to_have_value("3&-4")
    editor.get_by_role("button", name="Save as a new version").click()
    expect(editor.locator("[data-chart-state]")).to_have_text("Version 2.")
    bars = version.song.chart_versions.get(number=2).chart["sections"][0]["bars"]
    assert bars[2]["stops"] == [{"beat": 1, "beats": 4}]
    assert {name: bars[3][name] for name in ("stops", "fills", "held", "decided")} == {
        "stops": [{"beat": 1, "beats": 2}],
        "fills": [{"beat": 3.5, "beats": 1.5}],
        "held": 2.5,
        "decided": ["stops", "fills", "words"],
    }


def test_a_wrong_entry_stays_marked_with_what_is_possible(editor: Page) -> None:
    editor.locator('[data-bar="4"]').click()
    editor.get_by_text("Repeats and jumps").click()
    editor.get_by_text("Written rhythm", exact=True).click()
    wrong = {
        "hits": ("1x", "Hits are places in a bar of 4/4, such as “1, 2&, 3a, 4 trip”."),
        "meter": ("4", "A meter is a number over 1, 2, 4, 8, 16 or 32, such as 4/4 or 6/8."),
        "repeat_end": ("1", "A repeat is played 2 to 32 times in all; empty for no end of a repeat."),
        "stops": ("5", "Type “all” for the whole bar, or beats from and to, such as “3-4”; empty for none."),
        "rhythm": (
            "2, 1",
            "Notes begin at places in a bar of 4/4, one after the other; a place in brackets is a rest.",
        ),
        "held": ("1, 2", "One place in a bar of 4/4 is held, such as “1”; empty for none."),
        "ending": ("x", "An ending is for passes by number, such as “1” or “1, 2”; empty for no ending."),
    }
    editor.locator("[name=ending]").fill("1")
    editor.locator("[name=ending]").blur()
    expect(editor.locator('[data-bar="4"] .chart-words')).to_contain_text("ending 1")
    for name, (text, sentence) in wrong.items():
        field = editor.locator(f"[name={name}]")
        field.fill(text)
        field.blur()
        expect(editor.locator("[data-chart-said]")).to_have_text(sentence)
        expect(field).to_have_attribute("aria-invalid", "true")
        expect(field.locator("xpath=following-sibling::small")).to_have_text(sentence)
    expect(editor.locator('[data-bar="4"] .chart-words')).to_contain_text("ending 1")
    editor.get_by_role("button", name="Save as a new version").click()
    expect(editor.locator("[data-chart-said]")).to_contain_text("It is not saved: “4” cannot be there. A meter is")
    expect(editor.locator("[name=meter]")).to_be_focused()
    hits = editor.locator("[name=hits]")
    hits.fill("1, 2&")
    hits.blur()
    expect(editor.locator("[data-chart-said]")).to_have_text("")
    expect(hits).not_to_have_attribute("aria-invalid", "true")
    expect(editor.locator("[name=meter]")).to_have_value("4")
    editor.locator('[data-bar="5"]').click()
    expect(editor.locator("[data-chart-said]")).to_have_text("Bar 4: “4” was not taken.")
    expect(editor.locator("[name=meter]")).to_have_value("4/4")
    expect(editor.locator("[aria-invalid=true]")).to_have_count(0)


def test_why_a_chart_cannot_be_saved_stays_beside_save(editor: Page) -> None:
    """Bar 8 is the fourth of the second section; a bar of 7/8 has no room for a triplet of quarters on 3 1/3."""
    editor.locator('[data-bar="8"]').click()
    for name, text in (("hits", "3 trip"), ("meter", "7/8"), ("hits", "nonsense")):
        editor.locator(f"[name={name}]").fill(text)
        editor.locator(f"[name={name}]").blur()
    why = editor.locator("[data-chart-why]")
    expect(why).to_contain_text("It cannot be saved: in bar 8 the hit at beat 3.33 ")
    expect(why).to_contain_text("Change what is played there, or the meter.")
    expect(editor.locator("[data-chart-said]")).to_contain_text("Hits are places in a bar of 7/8")
    expect(editor.locator('[data-bar="8"] .chart-fault')).to_be_visible()
    save = editor.get_by_role("button", name="Save as a new version")
    expect(save).to_be_disabled()
    editor.locator("[name=hits]").fill("3")
    editor.locator("[name=hits]").blur()
    expect(why).to_be_hidden()
    expect(save).to_be_enabled()


def test_what_does_not_add_up_stays_in_sight_and_its_bar_is_told_from_the_chosen_one(editor: Page) -> None:
    """A D.S. without a segno in bar 8, seen from bar 8 on a screen that the editor does not fit on."""
    editor.set_viewport_size({"width": 1180, "height": 500})
    editor.locator('[data-bar="8"]').click()
    editor.get_by_text("Repeats and jumps").click()
    editor.locator("[name=jump]").select_option("segno-end")
    editor.locator('[data-bar="7"]').click()
    fault = editor.locator("[data-chart-faults]")
    expect(fault).to_contain_text("Bar 8")
    expect(fault).to_be_in_viewport()
    style = "bar => [getComputedStyle(bar).borderStyle, getComputedStyle(bar).outlineStyle]"
    assert editor.locator('[data-bar="8"]').evaluate(style)[0] == "dashed"
    assert editor.locator('[data-bar="7"]').evaluate(style) == ["solid", "solid"]
    expect(editor.locator(".chart-fault")).to_have_count(1)
    editor.locator('[data-bar="8"]').click()
    editor.locator("[name=repeat_end]").fill("2")
    editor.locator("[name=repeat_end]").blur()
    editor.locator('[data-bar="8"]').focus()
    editor.keyboard.press("ControlOrMeta+z")
    expect(editor.locator('[data-bar="8"] .chart-shows')).not_to_contain_text(":|")
    editor.keyboard.press("Control+y")
    expect(editor.locator('[data-bar="8"] .chart-shows')).to_contain_text(":|")


PLAYER = """document.addEventListener("readystatechange", () => {
  if (document.readyState !== "interactive" || !document.querySelector("[data-chart-editor]")) return;
  document.querySelector("[data-lanes]")?.remove();
  const player = document.createElement("section");
  player.dataset.lanes = "";
  player.innerHTML = "<output data-lanes-said></output>";
  player.lanes = { headS: 0, song: { bars: [] }, seekShown(timeS) { this.headS = timeS; } };
  document.querySelector("main").append(player);
});"""


def test_a_save_leaves_the_chosen_bar_the_player_and_the_steps_where_they_are(editor: Page) -> None:
    editor.add_init_script(PLAYER)
    editor.reload()
    editor.locator('[data-bar="6"]').click()
    editor.keyboard.press("%")
    editor.evaluate("document.querySelector('[data-lanes]').lanes.headS = 12.5")
    editor.keyboard.press("ControlOrMeta+s")
    expect(editor.locator("[data-chart-said]")).to_contain_text("Version 2 is saved.")
    expect(editor.locator('[data-bar="6"]')).to_be_focused()
    expect(editor.locator("[data-chart-bar] legend")).to_have_text("Bar 6")
    editor.evaluate("document.dispatchEvent(new CustomEvent('lanes:view'))")
    assert editor.evaluate("document.querySelector('[data-lanes]').lanes.headS") == 12.5
    editor.keyboard.press("ControlOrMeta+z")
    expect(editor.locator('[data-bar="6"] .chart-shows')).not_to_have_text("%")


PAGE = (
    b'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 210 297"><rect width="210" height="297" fill="none"/></svg>'
)


def test_on_paper_the_pages_stand_alone(editor: Page, version: ChartVersion) -> None:
    for number in (1, 2):
        sha256 = store_content(PAGE.replace(b"none", b"none" * number))
        key = f"originals/{sha256[:2]}/{sha256}"
        ChartFile.objects.create(
            version=version, kind="preview", name=f"{number}.svg", page=number, key=key, size_bytes=len(PAGE)
        )
    ChartVersion.objects.update(state=ChartVersion.State.ENGRAVED)
    editor.reload()
    expect(editor.locator(".chart-page[data-state=drawn]")).to_have_count(2)
    editor.emulate_media(media="print")
    for part in ("[data-chart-editor]", "#chart-versions", "h1", "h2", "form"):
        expect(editor.locator(part).locator("visible=true")).to_have_count(0)
    expect(editor.locator(".chart-page").first).to_be_visible()
    assert len(re.findall(rb"/Type\s*/Page\b", editor.pdf(format="A4", prefer_css_page_size=True))) == 2


def test_on_a_phone_a_cell_of_the_versions_is_one_text(editor: Page) -> None:
    editor.set_viewport_size({"width": 390, "height": 844})
    cell = editor.locator("#chart-versions td[data-label=Saved]")
    texts = "cell => [...cell.childNodes].filter((one) => one.textContent.trim()).length"
    assert cell.evaluate(texts) == 1


def test_a_groove_is_written_drum_by_drum(editor: Page, version: ChartVersion) -> None:
    """A straight eighth-note groove (common practice): hat on all eighths, snare on 2 and 4."""
    editor.locator('[data-bar="2"]').focus()
    editor.get_by_text("Written drums", exact=True).click()
    for drum, strokes in (("Kick", "1, 3, 3&"), ("Snare", "2 4"), ("Hat", "1 1& 2 2& 3 3& 4 4&")):
        editor.get_by_label(drum, exact=True).fill(strokes)
        editor.get_by_label(drum, exact=True).blur()
    expect(editor.locator('[data-bar="2"] .chart-shows')).to_have_text("drums")
    expect(editor.get_by_label("Snare", exact=True)).to_have_value("2, 4")
    editor.get_by_role("button", name="Save as a new version").click()
    expect(editor.locator("[data-chart-state]")).to_have_text("Version 2.")
    bar = version.song.chart_versions.get(number=2).chart["sections"][0]["bars"][1]
    assert (bar["shows"], bar["decided"]) == ("drums", ["content"])
    played = {voice: [note["beat"] for note in bar["notes"] if note["voice"] == voice] for voice in ("kick", "snare")}
    assert played == {"kick": [1, 3, 3.5], "snare": [2, 4]}
    assert len(bar["notes"]) == 13
