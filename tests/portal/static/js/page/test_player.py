"""Playing: never by itself, never at once loud, always stopped by one key. Source: WCAG 2.2, SC 1.4.2 and 2.1.4."""

import io
import json
import math
import struct
import wave

import pytest
from playwright.sync_api import Page

from tests.portal.static.conftest import Show

pytestmark = pytest.mark.browser

MAP = {"bar_one_s": 0, "segments": [{"bar": 1, "time_s": 0, "bpm": 120, "meter": "4/4"}]}
PLAYER = f"""<div class="player" data-player data-player-label="Rough mix" data-player-map='{json.dumps(MAP)}'>
  <audio controls preload="metadata" src="mix.wav"></audio></div>"""


def tone(seconds_s: int = 20, rate_hz: int = 8_000) -> bytes:
    frames = (round(3_000 * math.sin(2 * math.pi * 200 * frame / rate_hz)) for frame in range(seconds_s * rate_hz))
    out = io.BytesIO()
    with wave.open(out, "wb") as file:
        file.setnchannels(1)
        file.setsampwidth(2)
        file.setframerate(rate_hz)
        file.writeframes(b"".join(struct.pack("<h", frame) for frame in frames))
    return out.getvalue()


@pytest.fixture
def player(page: Page, show: Show) -> Page:
    show(PLAYER, **{"mix.wav": tone()})
    page.wait_for_function("() => document.querySelector('audio').readyState >= 1")
    return page


def play(page: Page) -> None:
    page.get_by_role("button", name="Play").click()
    page.get_by_role("button", name="I have turned down: play").click()
    page.wait_for_function("() => !document.querySelector('audio').paused")


def is_paused(page: Page) -> bool:
    return bool(page.evaluate("document.querySelector('audio').paused"))


def test_the_first_press_shows_the_hearing_note_and_plays_nothing(player: Page) -> None:
    player.get_by_role("button", name="Play").click()

    assert "see an audiologist" in player.get_by_role("note").inner_text()
    assert is_paused(player)


def test_the_note_is_shown_once_a_session(player: Page) -> None:
    play(player)
    player.reload()
    player.wait_for_function("() => document.querySelector('audio').readyState >= 1")
    player.get_by_role("button", name="Play").click()
    player.wait_for_function("() => !document.querySelector('audio').paused")

    assert player.get_by_role("note").count() == 0


def test_nothing_plays_by_itself(player: Page) -> None:
    assert is_paused(player)
    assert player.evaluate("document.querySelector('audio').autoplay") is False


def test_playing_starts_silent_and_rises_to_the_level_set(player: Page) -> None:
    player.evaluate(
        """() => { window.levels = []; const a = document.querySelector('audio');
        a.addEventListener('play', () => levels.push(a.volume)); }"""
    )
    play(player)
    player.wait_for_function("() => document.querySelector('audio').volume > 0.12")

    first = player.evaluate("levels[0]")
    assert first <= 0.05
    # The level set is -18 dB: 10 ** (-18 / 20) = 0.1259.
    player.wait_for_timeout(400)
    assert player.evaluate("document.querySelector('audio').volume") == pytest.approx(10 ** (-18 / 20), abs=1e-3)


def test_the_level_cannot_go_above_the_file(player: Page) -> None:
    level = player.get_by_label("Level")

    assert float(level.get_attribute("max") or "nan") == 0


def test_a_seek_is_silent_first(player: Page) -> None:
    play(player)
    player.wait_for_function("() => document.querySelector('audio').volume > 0.12")

    quiet = player.evaluate(
        """() => { const slider = document.querySelector('.player-seek'); slider.value = 10;
        slider.dispatchEvent(new Event('input')); return document.querySelector('audio').volume; }"""
    )

    assert quiet == 0


@pytest.mark.parametrize("key", ["s", "Escape"])
def test_one_key_stops_and_goes_back(player: Page, key: str) -> None:
    play(player)
    player.wait_for_function("() => document.querySelector('audio').currentTime > 0.3")
    player.get_by_role("button", name="Pause").focus()
    player.keyboard.press(key)

    assert is_paused(player)
    assert player.evaluate("document.querySelector('audio').currentTime") == 0


def test_keys_do_nothing_outside_the_player(player: Page) -> None:
    play(player)
    player.locator(".house-name").focus()
    player.keyboard.press("s")

    assert not is_paused(player)


def test_the_place_is_told_in_bars(player: Page) -> None:
    player.evaluate(
        """() => { const slider = document.querySelector('.player-seek'); slider.value = 5;
        slider.dispatchEvent(new Event('input')); }"""
    )

    # 120 BPM in 4/4: a bar is 2 s, so 5 s is bar 3, beat 3.
    assert player.locator("output.bars").inner_text().split("\n")[0] == "3.3"


def test_removal_silences(player: Page) -> None:
    play(player)
    player.evaluate(
        "() => { window.sound = document.querySelector('audio'); document.querySelector('.player').remove(); }"
    )

    player.wait_for_function("() => sound.paused")


def test_without_script_the_browsers_own_player_stays(page: Page, show: Show) -> None:
    show(PLAYER, **{"mix.wav": tone(1), "static/js/page/player.js": b"not a script"})

    assert page.evaluate("document.querySelector('audio').controls") is True


def test_a_sound_that_cannot_be_had_says_so(page: Page, show: Show) -> None:
    show(PLAYER)

    page.get_by_text("This audio could not be loaded").wait_for()
