"""Folders, pauses, and a connection that goes away, in a real browser."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from django.test import Client
from playwright.sync_api import Page, Route, expect
from pytest_django.fixtures import Settings
from pytest_django.live_server_helper import LiveServer

from portal.bookings.models import Song
from portal.intake import tasks
from portal.intake.models import SourceFile
from portal.uploads import services as uploads
from portal.uploads.models import Upload
from tests.portal.intake.made_zips import zipped
from tests.portal.intake.sending import choose, first_bytes, open_song, stored_content

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]
CONTENT = bytes(range(256)) * 4_000
TUS = "**/tus/*/"
# A row that leaves now does not leave by the clock, which would take it after four seconds.
WITHOUT_CLOCK = """() => { const wait = window.setTimeout;
  window.setTimeout = (act, ms, ...more) => (ms >= 4_000 ? 0 : wait(act, ms, ...more)); }"""


@pytest.fixture(autouse=True)
def queue(monkeypatch: pytest.MonkeyPatch) -> None:
    """A busy worker: nothing is surveyed while we look."""
    for task in (tasks.survey_file, tasks.measure_song):
        monkeypatch.setattr(task, "delay", lambda _: None)


@pytest.fixture
def song(live_server: LiveServer, client: Client, page: Page) -> Song:
    return open_song(live_server, client, page)


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """What a client drags: stems in folders, and what two systems left beside them."""
    top = tmp_path / "Thursday Ladder Behind Soup stems"
    for path in ("bass.wav", "Drums/kick.wav", "Loops/kick.wav", "Drums/._kick.wav", ".DS_Store", "bass.wav.drawn"):
        (top / path).parent.mkdir(parents=True, exist_ok=True)
        (top / path).write_bytes(path.encode() * 1_000)
    return top


def drop(page: Page, *paths: Path) -> None:
    """As a hand does it: the browser itself makes the folder's entries."""
    box = page.locator(".dropzone").bounding_box()
    assert box is not None
    session = page.context.new_cdp_session(page)
    place = {"x": box["x"] + box["width"] / 2, "y": box["y"] + 20}
    data = {"items": [], "files": [str(path) for path in paths], "dragOperationsMask": 1}
    for kind in ("dragEnter", "dragOver", "drop"):
        session.send("Input.dispatchDragEvent", {"type": kind, **place, "data": data})


def arrived(song: Song) -> set[str]:
    return {f"{source.folder}/{source.name}" for source in song.sources.current()}


STEMS = {"/bass.wav", "Drums/kick.wav", "Loops/kick.wav"}


def test_a_folder_is_dropped_with_all_that_is_in_it_and_junk_is_left_out_and_said(
    page: Page, song: Song, folder: Path
) -> None:
    drop(page, folder)

    expect(page.locator(".uploads-total .sum")).to_contain_text("3 files received, ")
    expect(page.locator(".left-out")).to_contain_text("Left out: 3 files with system or program data (")
    assert arrived(song) == STEMS
    expect(page.locator("#files tbody tr").filter(has_text="in Loops")).to_have_count(1)


def test_a_folder_of_more_files_than_one_reading_gives(page: Page, song: Song, tmp_path: Path) -> None:
    """The browser hands a folder out in portions of a hundred."""
    folder = tmp_path / "many"
    folder.mkdir()
    for number in range(230):
        (folder / f"bass.wav.{number}").touch()
    (folder / "bass.wav").write_bytes(CONTENT)

    drop(page, folder)

    expect(page.locator(".left-out")).to_contain_text("Left out: 230 files")
    expect(page.locator("#files tbody tr")).to_have_count(1)


def test_a_folder_can_be_chosen_too(page: Page, song: Song, folder: Path) -> None:
    expect(page.get_by_role("button", name="Choose a whole folder")).to_be_visible()
    page.locator("[data-upload-folder] input").set_input_files(folder)
    expect(page.locator("#files tbody tr")).to_have_count(3)
    assert arrived(song) == STEMS


def test_a_folder_of_junk_alone(page: Page, song: Song, tmp_path: Path) -> None:
    (tmp_path / ".DS_Store").touch()
    choose(page, tmp_path / ".DS_Store")
    expect(page.locator(".left-out")).to_have_text(
        "Left out: 1 file with system or program data (.DS_Store). There is nothing else in it."
    )
    assert not Upload.objects.exists()


def test_a_zip_is_unpacked_and_its_files_come_by_themselves(page: Page, song: Song, tmp_path: Path) -> None:
    path = tmp_path / "stems.zip"
    path.write_bytes(zipped(("bass.wav", b"bass"), ("keys.wav", b"keys"), (".DS_Store", b"")))
    choose(page, path)
    expect(page.locator("#files tbody tr")).to_have_count(2)
    expect(page.locator(".zip")).to_contain_text("Left out: 1 file with system or program data (.DS_Store).")


class Gate:
    """Holds back what is sent until it is opened."""

    def __init__(self, page: Page) -> None:
        self.page = page
        self.offsets: list[str] = []
        page.route(TUS, self.hold)
        page.on("request", lambda request: self.offsets.append(request.headers.get("upload-offset", "")))

    def hold(self, route: Route) -> None:
        if route.request.method != "PATCH":
            route.continue_()

    def open(self) -> None:
        self.page.unroute(TUS)
        self.offsets.clear()

    def sent_from(self) -> list[str]:
        return [offset for offset in self.offsets if offset]


@pytest.fixture
def stem(tmp_path: Path) -> Path:
    path = tmp_path / "bass.wav"
    path.write_bytes(CONTENT)
    return path


def test_a_paused_file_goes_on_where_it_was(page: Page, song: Song, stem: Path) -> None:
    gate = Gate(page)
    with first_bytes(page):
        choose(page, stem)
    # A creation whose answer came too late was made again: the page goes on with the newest.
    upload = Upload.objects.latest("created_at")
    page.get_by_role("button", name="Pause bass.wav").click()
    expect(page.locator(".upload .state")).to_contain_text("Paused")
    uploads.append(upload=upload, at_offset=0, pieces=lambda _: [CONTENT[:1_000]])
    gate.open()
    page.wait_for_timeout(500)
    assert gate.sent_from() == []

    page.get_by_role("button", name="Resume bass.wav").click()

    expect(page.locator("#files tbody tr")).to_have_count(1)
    assert gate.sent_from() == ["1000"]
    assert stored_content(song.sources.get()) == CONTENT


def test_a_file_has_one_row_from_its_drop_to_its_result(page: Page, song: Song, folder: Path) -> None:
    """Of three files one comes through: its row of sending goes as soon as it has its own, the others' stay."""
    through: list[str] = []

    def let_one(route: Route) -> None:
        if route.request.method == "PATCH" and not through:
            through.append(route.request.url)
        is_theirs = route.request.method != "PATCH" or route.request.url in through
        route.continue_() if is_theirs else route.abort("connectionreset")

    page.evaluate(WITHOUT_CLOCK)
    page.route(TUS, let_one)
    drop(page, folder)

    expect(page.locator("#files tbody tr")).to_have_count(1)
    expect(page.locator(".upload")).to_have_count(2)
    expect(page.locator(".uploads-total .sum")).to_contain_text("1 of 3 files received")


def test_a_row_does_not_go_from_under_the_hand(page: Page, song: Song, stem: Path) -> None:
    page.evaluate(WITHOUT_CLOCK)
    gate = Gate(page)
    with first_bytes(page):
        choose(page, stem)
    page.get_by_role("button", name="Pause bass.wav").click()
    gate.open()
    page.get_by_role("button", name="Resume bass.wav").click()
    expect(page.locator("#files tbody tr")).to_have_count(1)
    expect(page.locator(".upload.done")).to_have_count(1)

    page.mouse.move(0, 0)

    expect(page.locator(".upload")).to_have_count(0)


def test_all_are_paused_and_go_on_with_one_press(page: Page, song: Song, folder: Path) -> None:
    gate = Gate(page)
    with first_bytes(page):
        drop(page, folder)
    page.get_by_role("button", name="Pause all").click()
    expect(page.locator('.upload[data-state="paused"]')).to_have_count(3)
    expect(page.locator(".uploads-total .sum")).to_contain_text("0 of 3 files received: 0 bytes of ")
    gate.open()

    page.get_by_role("button", name="Resume all").click()

    expect(page.locator(".uploads-total .sum")).to_have_text(re.compile("^3 files received, "))
    assert arrived(song) == STEMS


def test_one_that_is_removed_leaves_the_sum(page: Page, song: Song, folder: Path) -> None:
    gate = Gate(page)
    with first_bytes(page):
        drop(page, folder)
    page.get_by_role("button", name="Remove bass.wav").click()
    expect(page.locator(".uploads-total .sum")).to_contain_text("0 of 2 files received")
    page.get_by_role("button", name="Pause all").click()
    expect(page.locator('.upload[data-state="paused"]')).to_have_count(2)
    gate.open()
    page.get_by_role("button", name="Resume all").click()
    expect(page.locator(".uploads-total .sum")).to_have_text(re.compile("^2 files received, "))
    assert arrived(song) == STEMS - {"/bass.wav"}


def test_offline_is_shown_and_it_goes_on_by_itself(page: Page, song: Song, stem: Path) -> None:
    gate = Gate(page)
    with first_bytes(page):
        choose(page, stem)
    upload = Upload.objects.get()
    page.context.set_offline(True)
    expect(page.locator(".offline")).to_have_text("You are offline: the upload resumes automatically.")
    expect(page.locator(".upload .state")).to_have_text("You are offline: the upload resumes automatically")
    uploads.append(upload=upload, at_offset=0, pieces=lambda _: [CONTENT[:2_000]])
    gate.open()

    page.context.set_offline(False)

    expect(page.locator("#files tbody tr")).to_have_count(1)
    expect(page.locator(".offline")).to_be_hidden()
    assert gate.sent_from() == ["2000"]
    assert stored_content(song.sources.get()) == CONTENT


def test_chosen_while_offline_it_waits_for_the_line(page: Page, song: Song, stem: Path) -> None:
    page.context.set_offline(True)
    choose(page, stem)
    expect(page.locator(".offline")).to_be_visible()
    assert not Upload.objects.exists()
    page.context.set_offline(False)
    expect(page.locator("#files tbody tr")).to_have_count(1)


def test_begun_on_another_machine_it_goes_on_here(page: Page, song: Song, stem: Path) -> None:
    """What the server knows is enough: this browser remembers nothing."""
    gate = Gate(page)
    with first_bytes(page):
        choose(page, stem)
    upload = Upload.objects.get()
    uploads.append(upload=upload, at_offset=0, pieces=lambda _: [CONTENT[:3_000]])
    page.evaluate("localStorage.clear()")
    page.on("dialog", lambda dialog: dialog.accept())
    page.reload()
    gate.open()
    expect(page.locator(".unfinished")).to_contain_text("bass.wav: 3.0 kB")
    expect(page.locator(".unfinished")).to_contain_text("Choose the same file again by ")

    choose(page, stem)

    expect(page.locator("#files tbody tr")).to_have_count(1)
    assert gate.sent_from() == ["3000"]
    assert Upload.objects.count() == 1
    assert stored_content(song.sources.get()) == CONTENT


def test_a_newer_bounce_of_the_same_length_does_not_go_on_from_the_old_one(page: Page, song: Song, stem: Path) -> None:
    gate = Gate(page)
    with first_bytes(page):
        choose(page, stem)
    uploads.append(upload=Upload.objects.get(), at_offset=0, pieces=lambda _: [CONTENT[:3_000]])
    page.on("dialog", lambda dialog: dialog.accept())
    page.reload()
    gate.open()
    stem.write_bytes(CONTENT[::-1])

    choose(page, stem)

    expect(page.locator("#files tbody tr")).to_have_count(1)
    assert stored_content(song.sources.get()) == CONTENT[::-1]


def test_what_was_begun_can_be_removed(page: Page, song: Song, stem: Path) -> None:
    gate = Gate(page)
    with first_bytes(page):
        choose(page, stem)
    uploads.append(upload=Upload.objects.get(), at_offset=0, pieces=lambda _: [CONTENT[:3_000]])
    page.on("dialog", lambda dialog: dialog.accept())
    page.reload()
    gate.open()
    with page.expect_response(lambda response: response.request.method == "DELETE" or response.status == 204):
        page.locator(".unfinished button").click()
    expect(page.locator(".unfinished")).to_be_hidden()
    assert not Upload.objects.exists()


def test_a_refusal_of_the_house_s_limit_stands_beside_the_file(
    page: Page, song: Song, stem: Path, settings: Settings
) -> None:
    settings.LARGEST_UPLOAD_BYTES = 1_000
    choose(page, stem)
    expect(page.locator(".upload.failed .state")).to_contain_text("the limit for one file is")
    page.get_by_role("button", name="Close bass.wav").click()
    expect(page.locator(".upload")).to_have_count(0)


def test_a_new_bounce_replaces_a_file_on_its_own_page(page: Page, song: Song, stem: Path) -> None:
    choose(page, stem)
    expect(page.locator("#files tbody tr")).to_have_count(1)
    page.get_by_role("link", name="Replace bass.wav").click()
    newer = stem.with_name("bass take 2.wav")
    newer.write_bytes(CONTENT[::-1])

    choose(page, newer)

    expect(page.locator("#versions tbody tr")).to_have_count(2)
    page.get_by_role("button", name="Restore version 1").click()
    expect(page.locator("#files tbody tr")).to_have_count(1)
    assert SourceFile.objects.current().get().name == "bass.wav"
