"""The headphone balance in a browser: what its sliders, switches and lists do to what is heard, and what is kept."""

from __future__ import annotations

from typing import Any

import pytest
from django.test import Client
from playwright.sync_api import Page, expect
from pytest_django.live_server_helper import LiveServer

from portal.bookings.models import Song
from portal.people.models import User
from tests.browsing import sign_in
from tests.portal.kit.playing import play

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

TRANSPORT = "document.querySelector('[data-kit]').kit.transport"
# The song's files, in order: bass, keys left, keys right, guide drums.
LEVELS = f"{TRANSPORT}.levels"


def slide(page: Page, name: str, db: float) -> None:
    page.locator(".kit-slider", has_text=name).get_by_role("slider").fill(str(db))


def levels(page: Page) -> list[float]:
    found: list[float] = page.evaluate(LEVELS)
    return found


@pytest.fixture
def headphones(opened: Page) -> Page:
    opened.get_by_text("Headphones", exact=True).click()
    return opened


def test_one_slider_is_for_all_keys(headphones: Page) -> None:
    """A gain is 10^(dB/20): -6 for both keys, and -12 more for one of them."""
    slide(headphones, "All keys", -6)
    slide(headphones, "keys left", -12)
    assert levels(headphones) == pytest.approx([1, 10 ** (-18 / 20), 10 ** (-6 / 20), 1])
    slide(headphones, "Music", -20)
    assert levels(headphones) == pytest.approx([0.1, 10 ** (-38 / 20), 10 ** (-26 / 20), 0.1])
    slide(headphones, "All keys", -48)
    assert levels(headphones)[1:3] == [0, 0]


def test_the_music_plays_without_the_guide_drums(headphones: Page) -> None:
    headphones.get_by_label("Music without the guide drums").check()
    assert levels(headphones) == [1, 1, 1, 0]
    headphones.get_by_label("Music without the guide drums").uncheck()
    assert levels(headphones) == [1, 1, 1, 1]


def test_mono_is_kept_and_all_of_it_begins_quiet_again(headphones: Page) -> None:
    headphones.get_by_label("Mono").check()
    slide(headphones, "Everything", 0)
    headphones.evaluate("document.querySelector('[data-kit]').kit.balance.save()")
    headphones.reload()
    headphones.locator("[data-kit][data-state=ready]").wait_for()
    headphones.get_by_text("Headphones", exact=True).click()
    expect(headphones.get_by_label("Mono")).to_be_checked()
    expect(headphones.locator(".kit-slider", has_text="Everything").locator("output")).to_have_text("−18 dB")


# A device of six outputs, as the browser reports one, and one more to choose; the graph behind it is the browser's own.
SIX_OUTPUTS = """
Object.defineProperty(AudioDestinationNode.prototype, 'maxChannelCount', { get: () => 6 });
Object.defineProperty(AudioDestinationNode.prototype, 'channelCount', { get() { return 2; }, set() {} });
AudioContext.prototype.setSinkId = async function (id) {
  if (id === 'gone') throw new DOMException('', 'NotFoundError');
  Object.defineProperty(this, 'sinkId', { value: id, configurable: true });
};
navigator.mediaDevices.getUserMedia = async () => ({ getTracks: () => [] });
navigator.mediaDevices.enumerateDevices = async () => [
  { kind: 'audiooutput', deviceId: 'six', label: 'Six Outputs' },
  { kind: 'audioinput', deviceId: 'in', label: 'An Input' },
];
"""


@pytest.fixture
def six(live_server: LiveServer, client: Client, page: Page, song: Song, drummer: User) -> Page:
    page.add_init_script(SIX_OUTPUTS)
    client.force_login(drummer)
    sign_in(page, live_server, client)
    page.goto(f"{live_server.url}/kit/{song.pk}/")
    page.locator("[data-kit][data-state=ready]").wait_for()
    return page


def pairs(page: Page) -> Any:
    return page.evaluate("(({ outputs, song }) => outputs.pairs(song.lanes))(document.querySelector('[data-kit]').kit)")


def test_click_music_and_one_file_get_outputs_of_their_own_and_keep_them(six: Page) -> None:
    play(six)
    six.keyboard.press("s")
    six.get_by_text("Headphones", exact=True).click()
    lists = six.locator(".kit-route").get_by_role("combobox")
    for at, outputs in enumerate(("outputs 1 and 2", "outputs 3 and 4", "outputs 5 and 6")):  # click, music, bass
        lists.nth(at).select_option(outputs)
    assert pairs(six) == {"click": 0, "lanes": [2, 1, 1, 1]}
    six.get_by_role("button", name="List sound devices").click()
    six.locator("[data-kit-device]").select_option("Six Outputs")
    six.reload()
    six.locator("[data-kit][data-state=ready]").wait_for()
    play(six)
    assert six.evaluate(f"{TRANSPORT}.context.sinkId") == "six"
    assert pairs(six) == {"click": 0, "lanes": [2, 1, 1, 1]}


def test_a_device_that_is_gone_is_said_and_the_system_s_plays(six: Page) -> None:
    six.evaluate("localStorage.setItem('kitpost-kit-outputs', JSON.stringify({ device: 'gone' }))")
    six.reload()
    six.locator("[data-kit][data-state=ready]").wait_for()
    play(six)
    six.get_by_text("Headphones", exact=True).click()
    expect(six.locator("[data-kit-outputs-said]")).to_have_text(
        "The chosen sound device is not there: the one of the system is used."
    )


def test_a_device_of_two_outputs_says_that_all_share_them(headphones: Page) -> None:
    play(headphones)
    expect(headphones.locator("[data-kit-routes]")).to_have_text(
        "This sound device has two outputs: click, music and files share them."
    )
