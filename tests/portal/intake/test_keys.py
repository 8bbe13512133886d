"""The desk worked by keys alone, in a real browser."""

from __future__ import annotations

import pytest
from django.test import Client
from playwright.sync_api import Page, expect
from pytest_django.live_server_helper import LiveServer

from portal.bookings.models import Song
from portal.bookings.stages import SongStage
from portal.intake.checks.song_facts import note_facts
from portal.intake.models import SetAside
from portal.mailroom.models import Question
from tests.browsing import sign_in
from tests.factories import make_check, make_client, make_drummer, make_question, make_song, make_source

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


@pytest.fixture
def songs(live_server: LiveServer, client: Client, page: Page) -> list[Song]:
    """Two measured songs that wait for the drummer, whose desk is open."""
    client.force_login(make_drummer())
    sign_in(page, live_server, client)
    songs = []
    for title in ("Cellar Bucket Before Noon", "Paper Bin Behind Goose"):
        song = make_song(client=make_client(), title=title, stage=SongStage.ON_DESK)
        make_source(song=song, features_key="")  # measured, and nothing to draw
        make_check(song=song)
        note_facts(song)
        songs.append(song)
    page.goto(f"{live_server.url}/desk/")
    return songs


def arrived(page: Page, title: str) -> None:
    """The page stands, and its scripts have run: a key pressed before that is pressed in vain."""
    expect(page.get_by_role("heading", level=1)).to_have_text(title)
    page.wait_for_load_state()


def test_from_the_queue_through_two_songs_to_ready_without_a_mouse(page: Page, songs: list[Song]) -> None:
    expect(page).to_have_title("(2) Desk · Kitpost")
    page.keyboard.press("ArrowDown")
    page.keyboard.press("Enter")
    for title in ("Cellar Bucket Before Noon", "Paper Bin Behind Goose"):
        arrived(page, title)
        page.keyboard.press("a")
        expect(page.get_by_role("status").first).to_contain_text("approved as measured")
        page.keyboard.press("r")
        expect(page.get_by_text(f"“{title}” is ready to track.")).to_be_visible()
        page.goto(page.url.split("/songs/")[0] + "/desk/")
        page.keyboard.press("n")
    expect(page.get_by_role("heading", level=1)).to_have_text("Desk")
    assert [song.stage for song in Song.objects.order_by("pk")] == [SongStage.READY, SongStage.READY]


def test_next_ask_set_aside_and_back(page: Page, songs: list[Song]) -> None:
    held = make_question(song=songs[0], state=Question.State.HELD)
    page.keyboard.press("n")
    arrived(page, "Cellar Bucket Before Noon")
    page.keyboard.press("q")
    expect(page.get_by_text("The questions are sent to the client.")).to_be_visible()
    page.keyboard.press("n")
    arrived(page, "Paper Bin Behind Goose")
    page.keyboard.press("w")
    expect(page.get_by_text("is set aside")).to_be_visible()
    held.refresh_from_db()
    assert held.state == Question.State.OPEN
    assert SetAside.objects.get().song == songs[1]


def test_keys_rest_in_fields_with_modifiers_and_when_switched_off(page: Page, songs: list[Song]) -> None:
    page.get_by_label("Song, booking or client").press("n")
    page.keyboard.press("Escape")
    page.locator("h1").click()
    page.keyboard.press("Control+n")
    expect(page.get_by_role("heading", level=1)).to_have_text("Desk")

    page.get_by_text("Keys", exact=True).click()
    page.get_by_label("Single-key shortcuts on this page").uncheck()
    page.locator("h1").click()
    page.keyboard.press("n")
    expect(page.get_by_role("heading", level=1)).to_have_text("Desk")
    page.reload()
    page.keyboard.press("n")
    expect(page.get_by_role("heading", level=1)).to_have_text("Desk")
