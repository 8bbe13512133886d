"""The graph at the kit, rendered by the browser without a speaker (OfflineAudioContext, W3C Web Audio API) and measured
in samples. Every place is arithmetic: frame = seconds × rate."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from playwright.sync_api import Page

from analysis.maps.click import plan_click
from analysis.maps.click_sound import render_plan
from analysis.maps.click_style import SOUNDS, ClickStyle
from analysis.maps.tempo_map import TempoMap
from tests.portal.static.clicks import ADDRESS, CLICKS, clicks_with
from tests.portal.static.conftest import Show

pytestmark = pytest.mark.browser

# Plays from `fromS` through the kit's graph into `2 * count` channels. Lane `at` holds an impulse of its `peaks` on the
# left, of half of it on the right, on every frame of `impulses`. Answers each channel's onsets, counted from where
# playing begins, and its peak; with `samples` the left of the first pair, from one second to two.
RENDER = """async (given) => {
  const { song, fromS, lengthS, impulses, peaks, lanes, click, speed, route, loop, speeds, attacks } = given;
  const { Transport } = await import('kitpost/lanes/transport');
  const { kitGraph } = await import('kitpost/kit/graph');
  const rateHz = 48000;
  const context = new OfflineAudioContext(2 * route.count, Math.round((lengthS + 1) * rateHz), rateHz);
  context.resume = undefined;
  const fetchPart = async (lane, start, frames) => {
    const pcm = new Int16Array(2 * frames);
    for (const at of impulses) {
      if (at < start || at >= start + frames) continue;
      pcm[2 * (at - start)] = 32767 * peaks[lane.id];
      pcm[2 * (at - start) + 1] = 16384 * peaks[lane.id];
    }
    return { pcm, channels: 2 };
  };
  const makeGraph = (one, given) => kitGraph(one, given, route);
  const onRound = () => speeds?.shift() ?? null;
  const transport = new Transport(song, { context, fetchPart, makeGraph, onRound });
  transport.setLevel(0);
  transport.loop = loop ?? null;
  transport.setSpeed(speed);
  if (attacks) transport.attacksS = song.lanes.map(() => impulses.map((frame) => frame / rateHz));
  lanes.forEach((gain, at) => transport.setLane(at, gain));
  transport.setClick(click);
  await transport.play(fromS);
  const startS = transport.spans[0].atS;
  await transport.fill(transport.run, lengthS + startS);
  const sound = await context.startRendering();
  const channels = Array.from({ length: 2 * route.count }, (_, channel) => {
    const [onsets, samples] = [[], sound.getChannelData(channel)];
    let peak = 0;
    for (let frame = 0, last = -Infinity; frame < samples.length; frame++) {
      peak = Math.max(peak, Math.abs(samples[frame]));
      if (Math.abs(samples[frame]) < 0.002) continue;
      if (frame - last > 0.03 * rateHz) onsets.push(frame - Math.round(startS * rateHz));
      last = frame;
    }
    return { onsets, peak };
  });
  const [from, to] = [1, 2].map((seconds) => Math.round((startS + seconds) * rateHz));
  const left = given.samples ? Array.from(sound.getChannelData(0).subarray(from, to)) : null;
  return { channels, startFrame: startS * rateHz, left };
}"""
RATE_HZ = 48_000
BPM = 112.003
BEAT_S = 60 / BPM
BARS = 110
LAST_BAR_S = 1.25 + (BARS - 1) * 4 * BEAT_S
PLAIN = {"count": 1, "click": 0, "lanes": [0, 0], "mono": False, "ceilingDb": -6}


def song() -> dict[str, Any]:
    lane = {"sound": "x", "sample_rate_hz": RATE_HZ, "frames": 240 * RATE_HZ}
    beats = [[1.25 + beat * BEAT_S, 0 if beat % 4 else 1] for beat in range(4 * BARS)]
    lanes = [lane | {"id": 0}, lane | {"id": 1}]
    return {"duration_s": 240.0, "lanes": lanes, "beats_s": beats, "bars": [], "click_sounds": ADDRESS}


def render(page: Page, **asked: Any) -> dict[str, Any]:
    plain = {"song": song(), "fromS": 0.0, "lengthS": 3.0, "impulses": [], "peaks": [0.25, 0.25], "lanes": [1, 1]}
    more = {"click": 1, "speed": 1, "route": PLAIN}
    answer: dict[str, Any] = page.evaluate(RENDER, plain | more | asked)
    return answer


@pytest.fixture(scope="module")
def answers() -> dict[str, Any]:
    return CLICKS


@pytest.mark.parametrize("speed", [1, 0.75])
@pytest.mark.parametrize("bar_s", [1.25, LAST_BAR_S], ids=["bar one", "last bar"])
def test_click_and_music_are_on_one_frame(ready: Page, bar_s: float, speed: float) -> None:
    """Rendered apart, from a second before the bar: an impulse on its frame, and its click. At three quarters of the
    speed a second lasts 4/3; both are on the nearest frame."""
    frame = round(bar_s * RATE_HZ)
    from_s = (frame - RATE_HZ) / RATE_HZ
    asked = {"fromS": from_s, "impulses": [frame], "speed": speed, "attacks": speed != 1}
    music = render(ready, **asked, click=0)["channels"][0]["onsets"]
    click = render(ready, **asked, lanes=[0, 0])["channels"][0]["onsets"]
    expected = round(RATE_HZ / speed)
    assert music == [expected]
    assert expected in click


@pytest.mark.parametrize("sound", SOUNDS)
def test_it_plays_the_engine_s_click_of_the_sound_that_the_song_chose(page: Page, show: Show, sound: str) -> None:
    """Sample by sample beside the prepared click of the same map, bar line and beats; 32-bit floats differ from it by
    less than a step of 24 bits."""
    style = ClickStyle(sound=sound, peak_dbfs=-9.0)
    show("", **clicks_with(style))
    tempo_map = TempoMap.constant(BPM, bar_one_s=1.25)
    plan = plan_click(tempo_map, bars=4, count_in_bars=0, sample_rate_hz=RATE_HZ)
    prepared = render_plan(plan, style=style)[RATE_HZ : 2 * RATE_HZ, 0]
    route = PLAIN | {"ceilingDb": -1}
    heard = render(page, lanes=[0, 0], route=route, samples=True)["left"]
    assert np.abs(prepared).max() == pytest.approx(10 ** (-9 / 20))
    assert np.abs(np.array(heard) - prepared).max() < 2.0**-23


def test_click_music_and_one_stem_are_on_outputs_of_their_own(ready: Page) -> None:
    """Six channels: the click on 1 and 2, the music on 3 and 4, one stem on 5 and 6; nothing anywhere else. The music
    is twice as loud on the left as on the right, as its file is."""
    route = PLAIN | {"count": 3, "click": 0, "lanes": [1, 2]}
    at = [RATE_HZ // 2]
    both = render(ready, route=route, impulses=at)["channels"]
    beats = [round((1.25 + beat * BEAT_S) * RATE_HZ) for beat in range(5)]
    assert [one["onsets"][:3] for one in both[:2]] == [beats[:3]] * 2
    assert [one["onsets"] for one in both[2:]] == [at] * 4
    assert [round(one["peak"], 3) for one in both[2:]] == [0.25, 0.125, 0.25, 0.125]
    assert both[0]["peak"] == pytest.approx(10 ** (-12 / 20), abs=1e-3)
    stem = render(ready, route=route, impulses=at, click=0, lanes=[0, 1])["channels"]
    assert [bool(one["onsets"]) for one in stem] == [False] * 4 + [True] * 2


def test_mono_is_the_mean_of_both_sides_on_both(ready: Page) -> None:
    heard = render(ready, route=PLAIN | {"mono": True}, impulses=[RATE_HZ // 2], click=0, lanes=[1, 0])["channels"]
    assert [one["peak"] for one in heard] == pytest.approx([(0.25 + 0.125) / 2] * 2, abs=1e-3)


@pytest.mark.parametrize("ceiling_db", [-6, -1])
def test_nothing_passes_the_ceiling(ready: Page, ceiling_db: int) -> None:
    """Two lanes of full scale, four times as loud, on the frame of a click."""
    at = [round(1.25 * RATE_HZ)]
    asked = {"impulses": at, "peaks": [1, 1], "lanes": [4, 4], "click": 4}
    heard = render(ready, route=PLAIN | {"ceilingDb": ceiling_db}, **asked)["channels"]
    assert heard[0]["peak"] == pytest.approx(10 ** (ceiling_db / 20), abs=0.002)


def test_it_comes_up_from_silence(ready: Page) -> None:
    """Impulses of 0.25 every 50 ms: nothing at once, half of it at 150 ms, all of it from 300 ms on."""
    first = render(ready, impulses=[0, 7_200], click=0, lanes=[1, 0], lengthS=0.2)["channels"][0]
    assert first["onsets"] == [7_200]
    assert first["peak"] == pytest.approx(0.125, rel=0.02)


def test_a_loop_steps_up_by_itself_without_a_gap(ready: Page) -> None:
    """One second loops, with an impulse 0.75 s in: at half speed it is heard at 1.5 s, at three quarters 2 s + 1 s, at
    the song's own tempo 2 s + 4/3 s + 0.75 s."""
    loop = {"startS": 10.0, "endS": 11.0}
    asked = {"fromS": 10.0, "loop": loop, "speed": 0.5, "speeds": [0.75, 1, 1, 1], "attacks": True, "lengthS": 4.5}
    heard = render(ready, impulses=[round(10.75 * RATE_HZ)], click=0, lanes=[1, 0], **asked)["channels"][0]["onsets"]
    expected = [1.5, 2 + 1, 2 + 4 / 3 + 0.75]
    assert heard[:3] == pytest.approx([seconds * RATE_HZ for seconds in expected], abs=1)
