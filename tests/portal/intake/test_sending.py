"""Sending files in a real browser: several at once, over dropped connections and reloads, and what the page says."""

from __future__ import annotations

import hashlib
from collections.abc import Callable
from pathlib import Path

import pytest
from django.test import Client
from playwright.sync_api import Dialog, Page, Route, expect
from pytest_django.live_server_helper import LiveServer

from portal.bookings.models import Song
from portal.bookings.stages import SongStage
from portal.intake import tasks
from portal.intake.checks import jobs
from portal.intake.models import Announcement, SourceFile
from portal.uploads import services as uploads
from portal.uploads.models import Upload
from tests.factories import make_check, measured_song
from tests.portal.intake.sending import choose, first_bytes, open_song, stored_content

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]
CONTENT = bytes(range(256)) * 4_000
TUS = "**/tus/*/"


@pytest.fixture(autouse=True)
def queue(monkeypatch: pytest.MonkeyPatch) -> list[int]:
    """Files wait for their survey until a test runs it: what a busy worker looks like from a page."""
    waiting: list[int] = []
    monkeypatch.setattr(tasks.survey_file, "delay", waiting.append)
    monkeypatch.setattr(tasks.measure_song, "delay", waiting.append)
    return waiting


@pytest.fixture
def song(live_server: LiveServer, client: Client, page: Page) -> Song:
    return open_song(live_server, client, page)


@pytest.fixture
def stem(tmp_path: Path) -> Path:
    path = tmp_path / "bass.wav"
    path.write_bytes(CONTENT)
    return path


def test_several_files_arrive_and_the_result_comes_without_a_reload(page: Page, song: Song, stem: Path) -> None:
    other = stem.with_name("keys.wav")
    other.write_bytes(CONTENT[::-1])

    choose(page, stem, other)

    rows = page.locator("#files tbody tr")
    expect(rows).to_have_count(2)
    # Both are on their way at once: either may be the first to arrive.
    expect(rows.filter(has_text=stem.name)).to_contain_text(hashlib.sha256(CONTENT).hexdigest()[:12])
    expect(rows.filter(has_text=other.name)).to_contain_text("Received, being measured")
    expect(page.locator("#course")).to_contain_text("Now: Checking")
    assert {source.name: stored_content(source) for source in song.sources.all()} == {
        stem.name: CONTENT,
        other.name: CONTENT[::-1],
    }

    SourceFile.objects.update(status=SourceFile.Status.REFUSED, refusal="It is a text file.")
    make_check(song=song, report=measured_song("no-click", "no-tempo"))
    jobs.measure(song.pk)

    expect(rows.nth(0)).to_contain_text("It is a text file.")
    expect(page.locator("#course")).to_contain_text("With you")
    expect(page.locator("#messages")).to_contain_text("112 bpm is right")


def test_a_dropped_connection_goes_on_by_itself(page: Page, song: Song, stem: Path) -> None:
    dropped: list[str] = []

    def drop_twice(route: Route) -> None:
        if route.request.method == "PATCH" and len(dropped) < 2:
            dropped.append(route.request.url)
            route.abort("connectionreset")
        else:
            route.continue_()

    page.route(TUS, drop_twice)
    choose(page, stem)

    expect(page.locator("#files tbody tr")).to_have_count(1)
    assert len(dropped) == 2
    assert stored_content(song.sources.get()) == CONTENT


def test_the_same_file_chosen_again_after_a_reload_goes_on_where_it_was(page: Page, song: Song, stem: Path) -> None:
    page.route(TUS, lambda route: route.abort("internetdisconnected"))
    choose(page, stem)
    expect(page.locator(".upload .state")).to_have_text("Connection lost; retrying")
    upload = Upload.objects.get()
    uploads.append(upload=upload, at_offset=0, pieces=lambda _: [CONTENT[:1_000]])
    page.on("dialog", lambda dialog: dialog.accept())
    page.reload()
    page.unroute(TUS)
    offsets: list[str] = []
    page.on("request", lambda request: offsets.append(request.headers.get("upload-offset", "")))

    choose(page, stem)

    expect(page.locator("#files tbody tr")).to_have_count(1)
    assert [offset for offset in offsets if offset] == ["1000"]
    assert Upload.objects.count() == 1
    assert stored_content(song.sources.get()) == CONTENT


def test_a_refusal_is_said_in_the_house_s_words(page: Page, song: Song, stem: Path) -> None:
    Song.objects.filter(pk=song.pk).update(stage=SongStage.ACCEPTED)

    choose(page, stem)

    expect(page.locator(".upload.failed .state")).to_have_text("This song is accepted: it no longer accepts files.")
    assert not song.sources.exists()


def test_leaving_while_a_file_is_on_its_way_warns(page: Page, song: Song, stem: Path) -> None:
    page.route(TUS, lambda route: route.abort("internetdisconnected"))
    with first_bytes(page):
        choose(page, stem)
    warnings: list[str] = []

    def leave(dialog: Dialog) -> None:
        warnings.append(dialog.type)
        dialog.accept()

    page.on("dialog", leave)
    page.goto("about:blank")

    assert warnings == ["beforeunload"]


def test_a_file_can_be_stopped_and_leaves_nothing(page: Page, song: Song, stem: Path) -> None:
    page.route(TUS, lambda route: route.abort() if route.request.method == "PATCH" else route.continue_())
    with first_bytes(page):
        choose(page, stem)

    page.get_by_role("button", name="Remove bass.wav").click()

    expect(page.locator(".upload")).to_have_count(0)
    for _ in range(50):
        if not Upload.objects.exists():
            break
        page.wait_for_timeout(100)
    assert not Upload.objects.exists()


def test_dropped_files_are_taken_and_the_zone_shows_it(page: Page, song: Song) -> None:
    drag = """(type) => {
        const data = new DataTransfer();
        data.items.add(new File(["click click"], "click.wav"));
        const zone = document.querySelector(".dropzone");
        zone.dispatchEvent(new DragEvent(type, { dataTransfer: data, bubbles: true, cancelable: true }));
        return "over" in zone.dataset;
    }"""

    assert page.evaluate(drag, "dragover") is True
    assert page.evaluate(drag, "drop") is False
    expect(page.locator("#files tbody tr")).to_contain_text("click.wav")


def test_without_script_a_plain_form_takes_files(live_server: LiveServer, page: Page, song: Song, stem: Path) -> None:
    plain = page.context.browser.new_context(java_script_enabled=False)  # type: ignore[union-attr]
    plain.add_cookies(page.context.cookies())  # type: ignore[arg-type]
    without_script = plain.new_page()
    without_script.goto(page.url)

    choose(without_script, stem)
    without_script.get_by_role("button", name="Send", exact=True).click()

    expect(without_script.locator("main .notices")).to_contain_text("“bass.wav” is received")
    assert stored_content(song.sources.get()) == CONTENT
    plain.close()


def test_the_page_says_how_many_files_it_has_to_send_until_it_is_left(page: Page, song: Song, stem: Path) -> None:
    other = stem.with_name("keys.wav")
    other.write_bytes(CONTENT[::-1])
    page.route(TUS, lambda route: route.abort() if route.request.method == "PATCH" else route.continue_())
    choose(page, stem, other)
    until(page, lambda: Announcement.objects.filter(song=song, files=2).exists())

    page.on("dialog", lambda dialog: dialog.accept())
    page.goto("about:blank")

    until(page, lambda: not Announcement.objects.exists())


def test_an_announcement_ends_with_the_last_file(page: Page, song: Song, stem: Path) -> None:
    told: list[str] = []
    page.on("request", lambda request: told.append(request.url) if "/announce/" in request.url else None)
    choose(page, stem)

    expect(page.locator("#files tbody tr")).to_have_count(1)
    until(page, lambda: len(told) == 2 and not Announcement.objects.exists())


def until(page: Page, is_so: Callable[[], bool]) -> None:
    for _ in range(100):
        if is_so():
            return
        page.wait_for_timeout(100)
    assert is_so()
