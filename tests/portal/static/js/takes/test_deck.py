"""Take and music beside each other: loudness as arithmetic, and a switch measured in samples, rendered by the browser
(OfflineAudioContext, W3C Web Audio API)."""

from __future__ import annotations

import itertools
import math
from typing import Any

import pytest
from playwright.sync_api import Page

from tests.portal.static.js.lib.test_sums import ask

pytestmark = pytest.mark.browser
RATE_HZ = 48_000

# The first take is 0.25 throughout and the second -0.25, the music silent; the switch comes two seconds in.
RENDER = """async () => {
  const { Deck } = await import('kitpost/takes/deck');
  const rateHz = 48000;
  const context = new OfflineAudioContext(1, 4 * rateHz, rateHz);
  context.resume = undefined;
  const lane = (value) =>
    ({ value, sound: "x", lead: 0, frames: 60 * rateHz, sample_rate_hz: rateHz, loudness_lufs: -20, holds: "mix" });
  const facts = { duration_s: 60, takes: [lane(8192), lane(-8192)], music: null };
  const fetchPart = async (of, start, frames) => ({ pcm: new Int16Array(frames).fill(of.value), channels: 1 });
  const deck = new Deck(facts, { context, fetchPart });
  deck.setLevel(0);
  await deck.play(10);
  await deck.transport.fill(deck.transport.run, 5);
  context.suspend(2).then(() => { deck.switch(); OfflineAudioContext.prototype.resume.call(context); });
  const sound = (await context.startRendering()).getChannelData(0);
  return { take: deck.take.value, sound: Array.from(sound.subarray(rateHz, 3.5 * rateHz)) };
}"""


def test_the_other_take_comes_at_the_same_place_without_a_gap(ready: Page) -> None:
    """From +0.25 to -0.25 in a straight line of 12 ms, and as they are before and after: nothing falls silent."""
    answer = ready.evaluate(RENDER)
    sound = answer["sound"]  # from 1 s to 3.5 s
    before, after = sound[: RATE_HZ - 128], sound[RATE_HZ + 1_000 :]
    assert answer["take"] == -8192
    assert all(value == pytest.approx(0.25, abs=1e-4) for value in (min(before), max(before)))
    assert all(value == pytest.approx(-0.25, abs=1e-4) for value in (min(after), max(after)))
    between = [value for value in sound if abs(value) < 0.2499]
    assert len(between) <= round(0.012 * RATE_HZ) + 1
    assert max(abs(a - b) for a, b in itertools.pairwise(sound)) < 0.002


def test_everything_is_turned_down_to_the_softest(ready: Page) -> None:
    """-14 against -20 LUFS is 6 dB less: 10 ** (-6 / 20)."""
    assert ask(ready, "takes/balance", "m.matchedGains(given[0])", [-14.0, -20.0, None]) == pytest.approx(
        [10 ** (-6 / 20), 1.0, 1.0]
    )


@pytest.mark.parametrize("holds", ["drums", "mix"])
def test_the_sum_is_as_loud_wherever_the_slider_stands(ready: Page, holds: str) -> None:
    for step in range(-20, 21):
        share: dict[str, Any] = ask(ready, "takes/balance", "m.shares(...given)", step / 20, holds)
        assert math.hypot(share["take"], share["music"]) == pytest.approx(1.0)
        assert 0 <= share["take"] <= 1
        assert 0 <= share["music"] <= 1


def test_the_ends_are_each_alone_and_a_mix_has_no_second_music_under_it(ready: Page) -> None:
    def shares(balance: float, holds: str) -> tuple[float, float]:
        share = ask(ready, "takes/balance", "m.shares(...given)", balance, holds)
        return share["take"], share["music"]

    for holds in ("drums", "mix"):
        assert shares(-1, holds) == (1, 0)
        assert shares(1, holds) == (0, 1)
    assert shares(0, "drums") == pytest.approx((math.sqrt(0.5), math.sqrt(0.5)))
    assert shares(0, "mix") == (1, 0)


def test_a_page_of_the_strip_holds_the_place_and_ends_with_the_song(ready: Page) -> None:
    """390 px at 12 px a second show 32.5 s at once."""
    for head, start in ((0, 0), (32, 0), (33, 32.5), (99, 67.5)):
        view = ask(ready, "takes/strip", "m.viewAt(...given)", head, 100, 390)
        assert (view["startS"], view["endS"]) == (start, start + 32.5)
    assert ask(ready, "takes/strip", "m.viewAt(...given)", 3, 20, 1440) == {"startS": 0, "endS": 20}


@pytest.mark.parametrize(
    ("text", "bar", "bars"),
    [("33", 36, "33-36"), ("33-35", 36, "33-36"), ("33", 30, "30-33"), ("33", 33, "33"), ("", 9, "9")],
)
def test_a_second_press_ends_the_range(ready: Page, text: str, bar: int, bars: str) -> None:
    assert ask(ready, "takes/noting", "m.barsUntil(...given)", text, bar) == bars
