"""Taps beside what was measured. The measured song runs at 112 BPM; places are arithmetic."""

from __future__ import annotations

import json

import pytest
from django.test import Client
from django.urls import reverse
from playwright.sync_api import Page, expect
from pytest_django.live_server_helper import LiveServer

from portal.bookings.models import Song
from portal.intake.checks.tapping import MOST_TAPS, TapsForm, read_taps, tapping_shown
from portal.intake.models import Tapping
from portal.people.models import User
from tests.browsing import sign_in
from tests.factories import make_drummer, make_song
from tests.portal.intake.reading import read

pytestmark = pytest.mark.django_db


def taps_at(bpm: float, *, start_s: float = 10.0, count: int = 16) -> str:
    return json.dumps([start_s + beat * 60 / bpm for beat in range(count)])


def bar_one_s(song: Song) -> float:
    one_s = song.checks.get().numbers.song.bar_one.time_s
    assert one_s is not None
    return one_s


@pytest.mark.parametrize(("tapped", "together"), [(112.3, "112"), (56.1, "56"), (223.0, "224")])
def test_the_taps_pick_the_level_and_the_measurement_gives_the_decimals(
    client: Client, signed_in: User, on_desk: Song, tapped: float, together: str
) -> None:
    data = {"taps_s": taps_at(tapped), "per_beat": "1"}
    part = client.post(reverse("intake:taps", args=[on_desk.pk]), data, headers={"HX-Request": "true"})
    assert f"Approve {together} bpm" in part.content.decode()
    assert "<html" not in part.content.decode()
    assert f"{together} bpm" in read(client, f"/songs/{on_desk.pk}/sheet/")


def test_taps_far_from_all_that_was_measured_are_said_to_be_too_coarse(
    client: Client, signed_in: User, on_desk: Song
) -> None:
    client.post(reverse("intake:taps", args=[on_desk.pk]), {"taps_s": taps_at(97.0), "per_beat": "1"})
    page = read(client, f"/songs/{on_desk.pk}/sheet/")
    assert "Your taps match no measured tempo" in page
    assert "97 bpm" in page


@pytest.mark.parametrize(("beats_off", "goes_on"), [(0.0, False), (0.5, True)])
def test_taps_to_the_song_between_its_beats_move_bar_one_half_a_beat(
    signed_in: User, on_desk: Song, beats_off: float, *, goes_on: bool
) -> None:
    start_s = bar_one_s(on_desk) + (8 + beats_off) * 60 / 112
    taps = json.loads(taps_at(112.0, start_s=start_s))
    Tapping.objects.create(song=on_desk, by=signed_in, taps_s=taps, from_song=True)
    shown = tapping_shown(on_desk)
    assert shown is not None
    assert float(shown.bar_one_s) == pytest.approx(bar_one_s(on_desk) + (30 / 112 if goes_on else 0.0), abs=1e-5)


@pytest.mark.parametrize("first", [0, 1])
def test_of_eighths_nobody_can_tell_which_is_the_beat(signed_in: User, on_desk: Song, first: int) -> None:
    taps = json.loads(taps_at(224.0, start_s=bar_one_s(on_desk) + (16 + first) * 30 / 112))
    Tapping.objects.create(song=on_desk, by=signed_in, taps_s=taps, per_beat=2, from_song=True)
    shown = tapping_shown(on_desk)
    assert shown is not None
    assert (shown.bpm, float(shown.bar_one_s)) == ("112", bar_one_s(on_desk))


@pytest.mark.parametrize("taps", ["[]", "[1, 2]", '["x", null]'])
def test_too_few_taps_ask_for_more(client: Client, signed_in: User, on_desk: Song, taps: str) -> None:
    client.post(reverse("intake:taps", args=[on_desk.pk]), {"taps_s": taps, "per_beat": "1"})
    assert "keep tapping" in read(client, f"/songs/{on_desk.pk}/sheet/")


def test_what_is_no_taps_is_said(client: Client, signed_in: User, on_desk: Song) -> None:
    for taps in ("{", "7", "[" * 9_000):
        page = client.post(reverse("intake:taps", args=[on_desk.pk]), {"taps_s": taps, "per_beat": "1"}, follow=True)
        assert "No valid taps received." in page.content.decode()
    assert not Tapping.objects.exists()


def test_what_a_browser_may_send_besides_taps_is_none() -> None:
    """RFC 8259, section 6: a number may be as long as it likes."""
    sent = f'[1.5, "x", null, true, NaN, 1e999, {"9" * 400}, -2.0]'
    assert read_taps(sent, most=8) == [1.5, -2.0]
    assert read_taps("[1, 2, 3]", most=2) == [1.0, 2.0]


def test_a_song_without_a_check_can_be_tapped_too(client: Client, signed_in: User) -> None:
    song = make_song()
    client.post(reverse("intake:taps", args=[song.pk]), {"taps_s": taps_at(97.0), "per_beat": "2"})
    assert "48.5 bpm" in read(client, f"/songs/{song.pk}/sheet/")


@pytest.mark.browser
@pytest.mark.django_db(transaction=True)
def test_the_key_t_taps_and_the_answer_comes_by_itself(live_server: LiveServer, client: Client, page: Page) -> None:
    client.force_login(make_drummer())
    sign_in(page, live_server, client)
    song = make_song()
    page.goto(f"{live_server.url}/songs/{song.pk}/sheet/")
    page.get_by_role("button", name="Tap here").wait_for()
    for _ in range(8):
        page.keyboard.press("t")
        page.wait_for_timeout(300)
    page.evaluate("localStorage.setItem('kitpost-keys-off', 'yes')")
    page.keyboard.press("t")
    page.evaluate("localStorage.removeItem('kitpost-keys-off')")
    expect(page.locator("#tapped")).to_contain_text("taps")
    expect(page.locator("[data-tap-count]")).to_have_text("8 taps")
    tapping = Tapping.objects.get()
    gaps = [two - one for one, two in zip(tapping.taps_s, tapping.taps_s[1:], strict=False)]
    assert all(0.29 <= gap <= 1.5 for gap in gaps)


def test_more_taps_than_a_song_has_use_for_are_left_out() -> None:
    form = TapsForm({"taps_s": json.dumps(list(range(MOST_TAPS + 1))), "per_beat": "1"})
    assert form.is_valid()
    assert len(form.cleaned_data["taps_s"]) == MOST_TAPS
