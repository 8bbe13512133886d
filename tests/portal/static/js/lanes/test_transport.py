"""Click and music from one graph, rendered by the browser itself without a speaker (OfflineAudioContext, W3C Web Audio
API), and measured in samples. Every place is arithmetic: frame = seconds × rate."""

from __future__ import annotations

from typing import Any

import pytest
from playwright.sync_api import Page

from tests.portal.static.clicks import ADDRESS, CLICKS
from tests.portal.static.js.lib.test_sums import ask

pytestmark = pytest.mark.browser

# Plays from `fromS` for `lengthS`; each lane holds an impulse of 0.5 on every frame of `impulses`. Answers the first
# frame of every sound that is heard, 30 ms apart at least, counted from where playing begins.
RENDER = """async ({ song, fromS, lengthS, impulses, lanes, click, loop, levelDb, countsIn, speed }) => {
  const { Transport } = await import('kitpost/lanes/transport');
  const rateHz = 48000;
  const context = new OfflineAudioContext(1, Math.round((lengthS + 1) * rateHz), rateHz);
  const fetchPart = async (lane, start, frames) => {
    const pcm = new Int16Array(frames);
    for (const at of impulses) if (at >= start && at < start + frames) pcm[at - start] = 16384;
    return { pcm, channels: 1 };
  };
  context.resume = undefined;
  const transport = new Transport(song, { context, fetchPart });
  transport.setLevel(levelDb);
  transport.loop = loop;
  transport.countsIn = countsIn;
  transport.setSpeed(speed);
  lanes.forEach((value, at) => transport.setLane(at, value));
  transport.setClick(click);
  await transport.play(fromS);
  const startS = transport.spans[0].atS;
  await transport.fill(transport.run, lengthS + startS);
  const sound = (await context.startRendering()).getChannelData(0);
  const onsets = [];
  let peak = 0;
  for (let frame = 0, last = -Infinity; frame < sound.length; frame++) {
    peak = Math.max(peak, Math.abs(sound[frame]));
    if (Math.abs(sound[frame]) < 0.002) continue;
    if (frame - last > 0.03 * rateHz) onsets.push(frame - Math.round(startS * rateHz));
    last = frame;
  }
  return { onsets, peak, startFrame: startS * rateHz };
}"""
RATE_HZ = 48_000
BPM = 112.003
BEAT_S = 60 / BPM
BEATS = 4 * 110  # 110 bars: just under four minutes


def song(**more: Any) -> dict[str, Any]:
    lane = {"sound": "x", "sample_rate_hz": RATE_HZ, "frames": 240 * RATE_HZ, "duration_s": 240.0}
    beats = [[1.25 + beat * BEAT_S, 0 if beat % 4 else 1] for beat in range(BEATS)]
    return {"duration_s": 240.0, "lanes": [lane], "beats_s": beats, "bars": [], "click_sounds": ADDRESS} | more


def render(page: Page, **asked: Any) -> dict[str, Any]:
    given = {"song": song(), "fromS": 0.0, "lengthS": 8.0, "impulses": [], "lanes": [1], "click": 1, "loop": None}
    answer: dict[str, Any] = page.evaluate(RENDER, given | {"levelDb": 0, "countsIn": False, "speed": 1} | asked)
    return answer


@pytest.fixture(scope="module")
def answers() -> dict[str, Any]:
    return CLICKS


def test_the_click_is_on_the_map_at_bar_one_and_at_the_last_bar(ready: Page) -> None:
    """The last bar begins at 1.25 + 109 × 4 × 60/112.003 s. Every click is on the frame nearest to its exact time."""
    assert render(ready, impulses=[])["onsets"][0] == round(1.25 * RATE_HZ)
    from_s = 1.25 + 109 * 4 * BEAT_S - 2.0
    beats = [1.25 + beat * BEAT_S for beat in range(BEATS)]
    expected = [round(at_s * RATE_HZ) - round(from_s * RATE_HZ) for at_s in beats if at_s >= from_s]
    heard = render(ready, fromS=from_s)["onsets"]
    assert len(heard) > len(expected) - 3
    assert set(heard) <= set(expected)
    assert round((from_s + 2.0) * RATE_HZ) - round(from_s * RATE_HZ) in heard


def test_music_and_click_lie_on_the_same_frames_across_every_join(ready: Page) -> None:
    """Impulses on the beats, over a minute: 15 parts of four seconds are joined, and none shifts."""
    frames = [round((1.25 + beat * BEAT_S) * RATE_HZ) for beat in range(120)]
    music = render(ready, lengthS=60.0, impulses=frames, click=0)["onsets"]
    click = render(ready, lengthS=60.0, lanes=[0])["onsets"]
    heard = [frame for frame in frames if 0.3 * RATE_HZ <= frame < 60 * RATE_HZ]
    assert len(heard) > 100
    assert [onset for onset in music if onset >= 0.3 * RATE_HZ][: len(heard)] == heard
    assert click[: len(music)] == music[: len(click)]


def test_playing_goes_round_to_the_frame(ready: Page) -> None:
    """Two seconds loop: an impulse a second in comes back every 96 000 frames."""
    loop = {"startS": 3.0, "endS": 5.0}
    onsets = render(ready, fromS=3.0, loop=loop, impulses=[4 * RATE_HZ], click=0)["onsets"]
    assert onsets == [(1 + 2 * turn) * RATE_HZ for turn in range(4)]


def test_it_begins_in_silence_and_is_up_after_300_ms(ready: Page) -> None:
    """Impulses of 0.5 every 50 ms: at 150 ms half of it, from 300 ms on all of it."""
    impulses = [round(0.05 * step * RATE_HZ) for step in range(20)]
    for levels_db, whole in ((0, 0.5), (-18, 0.5 * 10 ** (-18 / 20))):
        answer = render(ready, lengthS=1.0, impulses=impulses, click=0, levelDb=levels_db)
        assert answer["peak"] == pytest.approx(whole, rel=0.01)
        assert 0 not in answer["onsets"]


@pytest.mark.parametrize("speed", [1, 0.5])
def test_a_bar_of_clicks_comes_before_the_sound(ready: Page, speed: float) -> None:
    """Four beats before bar two at the speed that follows, each within a frame of the song of its exact time; the map's
    own clicks come from the place on."""
    beats = [round(beat * BEAT_S * RATE_HZ / speed) for beat in range(-4, 5)]
    heard = render(ready, fromS=1.25 + 4 * BEAT_S, countsIn=True, speed=speed, lanes=[0], lengthS=12.0)["onsets"]
    assert max(abs(one - other) for one, other in zip(heard, beats, strict=False)) <= 1 / speed
    assert len(heard) >= len(beats)


def test_the_count_in_is_heard_without_a_click_and_no_music_sounds_in_it(ready: Page) -> None:
    from_s = 1.25 + 4 * BEAT_S
    music = [round((from_s - 0.3) * RATE_HZ), round(from_s * RATE_HZ) + 24_000]
    count = [round(beat * BEAT_S * RATE_HZ) for beat in range(-4, 0)]
    heard = render(ready, fromS=from_s, countsIn=True, click=0, impulses=music)["onsets"]
    assert max(abs(one - other) for one, other in zip(heard, [*count, 24_000], strict=True)) <= 1


def test_nothing_passes_the_ceiling(ready: Page) -> None:
    """Eight lanes of half scale on one frame are four times full scale; the ceiling is -1 dBFS."""
    lanes = [song()["lanes"][0]] * 8
    answer = render(ready, song=song(lanes=lanes), lanes=[1] * 8, impulses=[RATE_HZ], click=0)
    assert answer["peak"] == pytest.approx(10 ** (-1 / 20), abs=0.002)


def test_stretches_end_where_the_song_and_the_round_end(ready: Page) -> None:
    cut = "m.nextStretch(given[0], given[1], given[2])"
    assert ask(ready, "lanes/spans", cut, {"songS": 9.0, "atS": 0}, 10.0, None)["lengthS"] == 1.0
    assert ask(ready, "lanes/spans", cut, {"songS": 10.0, "atS": 0}, 10.0, None) is None
    turn = ask(ready, "lanes/spans", cut, {"songS": 4.0, "atS": 7.0}, 10.0, {"startS": 3.0, "endS": 5.0})
    assert (turn["lengthS"], turn["nextSongS"], turn["atS"]) == (1.0, 3.0, 7.0)


def test_the_rate_of_most_lanes_is_played_as_it_is(ready: Page) -> None:
    rates = [{"sample_rate_hz": rate} for rate in (44_100, 48_000, 48_000, 0)]
    assert ask(ready, "lanes/graph", "m.commonRate(given[0])", rates) == 48_000
    assert ask(ready, "lanes/graph", "m.commonRate([])") == 48_000


LIVE = """async (given) => {
  const { Transport } = await import('kitpost/lanes/transport');
  const asked = [];
  const context = new OfflineAudioContext(1, 48000 * 10, 48000);
  context.resume = undefined;
  const fetchPart = async (lane, start, frames) => {
    asked.push(lane.name);
    return { pcm: new Int16Array(frames).fill(8192), channels: 1 };
  };
  const lane = { sound: 'x', sample_rate_hz: 48000, frames: 10 * 48000 };
  const beats = (bpm) => Array.from({ length: 20 }, (_, beat) => [(beat * 60) / bpm, 1]);
  const lanes = [{ ...lane, name: 'bass' }, { ...lane, name: 'keys' }];
  const song = { duration_s: 10, lanes, beats_s: beats(120), bars: [], click_sounds: '/clicks/?sound=sine' };
  const transport = new Transport(song, { context, fetchPart });
  transport.setLane(1, 0);
  await transport.play(0);
  await transport.fill(transport.run, 9);
  const startS = transport.spans[0].atS;
  return await (given.what === 'lane' ? lanesHeard() : clicksHeard());

  async function lanesHeard() {
    const before = [...asked];
    transport.setLane(1, 1);
    await new Promise((done) => setTimeout(done, 50));
    return { before, after: asked.slice(before.length), laid: transport.spans.map((span) => span.laid.size) };
  }

  async function clicksHeard() {
    transport.setLane(0, 0);
    transport.setLevel(0);
    transport.takeMap({ bars: [], beats_s: beats(80) });
    const sound = (await context.startRendering()).getChannelData(0);
    const onsets = [];
    for (let at = 0, last = -Infinity; at < sound.length; at++) {
      if (Math.abs(sound[at]) < 0.02) continue;
      if (at - last > 0.1 * 48000) onsets.push(at / 48000 - startS);
      last = at;
    }
    return onsets;
  }
}"""


def test_a_lane_that_is_out_is_not_fetched_until_it_is_back(ready: Page) -> None:
    answer = ready.evaluate(LIVE, {"what": "lane"})
    assert set(answer["before"]) == {"bass"}
    assert set(answer["after"]) == {"keys"}
    assert answer["laid"] == [2] * len(answer["laid"])


def test_another_map_moves_the_clicks_that_are_still_to_come(ready: Page) -> None:
    """From 120 to 80 BPM at the start: clicks every 0.75 s, and none is left of those every 0.5 s."""
    onsets = [onset_s for onset_s in ready.evaluate(LIVE, {"what": "click"}) if onset_s > 0.3]
    assert onsets == pytest.approx([0.75 * beat for beat in range(1, len(onsets) + 1)], abs=0.001)
    assert len(onsets) > 8


# A context whose clock is set by hand: fetches, spans and times, and no sound.
BY_HAND = """async (given) => {
  const { Transport } = await import('kitpost/lanes/transport');
  const moves = ['cancelScheduledValues', 'setValueAtTime', 'linearRampToValueAtTime', 'setTargetAtTime'];
  const gain = { value: 0, ...Object.fromEntries(moves.map((name) => [name, () => {}])) };
  const node = () => ({ gain, connect: (next) => next, start() {}, stop() {}, copyToChannel() {}, duration: 1 });
  const context = {
    sampleRate: 48000,
    currentTime: 0,
    resume: async () => {},
    ...Object.fromEntries(['Gain', 'WaveShaper', 'BufferSource', 'Buffer'].map((name) => [`create${name}`, node])),
  };
  const lane = { sound: 'x', sample_rate_hz: 48000, frames: 240 * 48000 };
  const song = { duration_s: 240, lanes: [lane], beats_s: [], bars: [] };
  let fetches = 0;
  const fetchPart = async (_, start, frames) => {
    if (++fetches > given.good) throw new TypeError('the line is down');
    return { pcm: new Int16Array(frames), channels: 1 };
  };
  let lost = null;
  const fetchClicks = async () => null;
  const transport = new Transport(song, { context, fetchPart, fetchClicks, onLost: (error) => (lost = error.message) });
  transport.loop = given.loop;
  await transport.play(given.fromS);
  const times = [];
  for (const clockS of given.clocksS) {
    context.currentTime = clockS;
    await new Promise((done) => setTimeout(done, 250));
    times.push(transport.songTime(clockS));
  }
  const answer = { lost, isPlaying: transport.isPlaying, times, spans: transport.spans.length };
  transport.silence();
  return answer;
}"""


def test_sound_that_stops_coming_ends_the_playing_and_is_told(ready: Page) -> None:
    """Three parts of four seconds come, the fourth does not: what was heard last is where it goes on from."""
    given = {"good": 3, "loop": None, "fromS": 20.0, "clocksS": [2.0, 4.0, 6.0]}
    answer = ready.evaluate(BY_HAND, given)
    assert (answer["lost"], answer["isPlaying"]) == ("the line is down", False)
    assert 20.0 < answer["times"][-1] < 26.0


def test_the_first_part_that_does_not_come_is_told_too(ready: Page) -> None:
    answer = ready.evaluate(BY_HAND, {"good": 0, "loop": None, "fromS": 20.0, "clocksS": []})
    assert (answer["lost"], answer["isPlaying"]) == ("the line is down", False)


def test_in_a_short_round_the_head_stays_with_the_sound(ready: Page) -> None:
    """Half a second loops: at any time of the clock the head is as far in as the clock is past the start."""
    clocks_s = [1.0, 2.3, 3.6, 4.9, 6.2]
    given = {"good": 999, "loop": {"startS": 10.0, "endS": 10.5}, "fromS": 10.0, "clocksS": clocks_s}
    answer = ready.evaluate(BY_HAND, given)
    starts_s = 0.15
    expected = [10.0 + (clock_s - starts_s) % 0.5 for clock_s in clocks_s]
    assert answer["times"] == pytest.approx(expected, abs=1e-3)
    assert answer["spans"] < 40
