"""Half speed with the pitch kept, rendered through the graph that plays (OfflineAudioContext, W3C Web Audio API).
Signals with known answers: an attack at t is due at 2 t, a tone keeps its frequency and level, a click lies at twice
its time."""

from __future__ import annotations

import math
from typing import Any

import pytest
from playwright.sync_api import Page

from tests.portal.static.clicks import CLICKS

pytestmark = pytest.mark.browser

RATE_HZ = 48_000
# Plays one lane of `kind` from `fromS`, slower by `factor`. Hits are bursts of noise that fall 60 dB in 60 ms over a
# soft tone; a `tone` is a sine of `toneHz`, a `chord` three of them. Answers what is measured of the sound after 0.4 s.
RENDER = """async ({ kind, toneHz, hitsS, knownS, beats, fromS, lengthS, factor, loop, click }) => {
  const { Transport } = await import('kitpost/lanes/transport');
  const rateHz = 48000;
  const context = new OfflineAudioContext(1, Math.round((lengthS + 1) * rateHz), rateHz);
  context.resume = undefined;
  const noise = (at) => {
    const value = Math.sin(at * 12.9898) * 43758.5453;
    return 2 * (value - Math.floor(value)) - 1;
  };
  const toneAt = (at, hz) => Math.sin((2 * Math.PI * hz * at) / rateHz);
  const valueAt = (at) => {
    if (kind === 'tone') return 0.5 * toneAt(at, toneHz);
    if (kind === 'chord') return 0.2 * (toneAt(at, toneHz) + toneAt(at, toneHz * 1.25) + toneAt(at, toneHz * 1.5));
    let value = kind === 'hits' ? 0.02 * toneAt(at, 110) : 0;
    for (const hitS of hitsS) {
      const since = at / rateHz - hitS;
      if (since >= 0 && since < 0.06) value += 0.6 * noise(at) * 10 ** (-since / 0.02);
    }
    return value;
  };
  const wordAt = (at) => Math.round(32767 * valueAt(at));
  const fetchPart = async (lane, start, frames) => (
    { pcm: Int16Array.from({ length: frames }, (_, at) => wordAt(start + at)), channels: 1 });
  const lane = { sound: 'x', sample_rate_hz: rateHz, frames: 60 * rateHz, duration_s: 60 };
  const song = { duration_s: 60, lanes: [lane], beats_s: beats, bars: [], click_sounds: '/clicks/?sound=sine' };
  const transport = new Transport(song, { context, fetchPart });
  transport.attacksS = [knownS];
  transport.setSpeed(1 / factor);
  transport.setLevel(0);
  transport.setClick(click);
  transport.setLane(0, click ? 0 : 1);
  transport.loop = loop;
  await transport.play(fromS);
  const startS = transport.spans[0].atS;
  await transport.fill(transport.run, lengthS + startS);
  const whole = (await context.startRendering()).getChannelData(0);
  const sound = whole.subarray(Math.round(startS * rateHz), Math.round((startS + lengthS) * rateHz));
  const onsets = [];
  for (let at = 0, last = -Infinity; at < sound.length; at++) {
    if (Math.abs(sound[at]) < 0.1) continue;
    if (at - last > 0.04 * rateHz) onsets.push(at);
    last = at;
  }
  const steady = sound.subarray(0.4 * rateHz);
  const levels = [];
  for (let at = 0; at + 960 <= steady.length; at += 960) {
    const power = steady.subarray(at, at + 960).reduce((sum, value) => sum + value * value, 0) / 960;
    levels.push(Math.sqrt(power));
  }
  const ups = [];
  for (let at = 1; at < steady.length; at++) {
    if (steady[at - 1] < 0 && steady[at] >= 0) ups.push(at - steady[at] / (steady[at] - steady[at - 1]));
  }
  const hz = ((ups.length - 1) * rateHz) / (ups.at(-1) - ups[0]);
  return { onsets, levels, hz, songS: transport.songTime(startS + 3) };
}"""


@pytest.fixture(scope="module")
def answers() -> dict[str, Any]:
    return CLICKS


def render(page: Page, **asked: Any) -> dict[str, Any]:
    given = {"kind": "tone", "toneHz": 220.0, "hitsS": [], "knownS": [], "beats": [], "fromS": 0.0, "lengthS": 16.0}
    answer: dict[str, Any] = page.evaluate(RENDER, given | {"factor": 2, "loop": None, "click": 0} | asked)
    return answer


# Sixteenths at 120 BPM with some left out: gaps of 125, 250 and 375 ms.
HITS_S = [0.5 + 0.125 * step for step in range(80) if step % 16 not in (1, 3, 4, 7, 9, 13)]


@pytest.mark.parametrize("measured_late_s", [0.0, 0.0015, -0.0015])
def test_every_hit_is_heard_once_at_twice_its_time(ready: Page, measured_late_s: float) -> None:
    """Also where attacks were measured 1.5 ms beside the truth: then they are 1.5 ms beside it here, not more."""
    known = [hit_s + measured_late_s for hit_s in HITS_S]
    answer = render(ready, kind="hits", hitsS=HITS_S, knownS=known)
    heard = [frame for frame in answer["onsets"] if frame < 15.9 * RATE_HZ]
    due = [2 * hit_s for hit_s in HITS_S if 2 * hit_s < 15.9]
    assert len(heard) == len(due)
    off_ms = [1000 * (frame / RATE_HZ - due_s) for frame, due_s in zip(heard, due, strict=True)]
    assert max(map(abs, off_ms)) < 2.0


def test_hits_that_nobody_measured_are_not_lost(ready: Page) -> None:
    """Without a known attack there is no fixed point: a run of 30 ms is ahead by at most half by itself and the reach
    of a fit, 9 ms, at both ends: 16.5 ms of the song, 33 ms as heard."""
    heard = render(ready, kind="hits", hitsS=[2.0, 3.0, 4.0, 5.0])["onsets"]
    for due_s in (4.0, 6.0, 8.0, 10.0):
        assert any(abs(frame / RATE_HZ - due_s) < 0.04 for frame in heard)


@pytest.mark.parametrize("tone_hz", [82.41, 220.0, 987.77])
def test_a_tone_keeps_its_pitch_and_its_level(ready: Page, tone_hz: float) -> None:
    """Within 5 cents; half a scale's sine is 0.3536 RMS, and no 20 ms of it differ by more than 1 dB."""
    answer = render(ready, toneHz=tone_hz)
    assert abs(1200 * math.log2(answer["hz"] / tone_hz)) < 5
    levels_db = [20 * math.log10(level / (0.5 / math.sqrt(2))) for level in answer["levels"]]
    assert max(map(abs, levels_db[5:-5])) < 1.0


def test_a_chord_keeps_its_level(ready: Page) -> None:
    """Three sines of 0.2: 0.2 × √1.5 RMS over the whole. Joins may dip, never gape."""
    levels = render(ready, kind="chord", toneHz=196.0)["levels"]
    whole = math.sqrt(sum(level**2 for level in levels) / len(levels))
    assert abs(20 * math.log10(whole / (0.2 * math.sqrt(1.5)))) < 1.0
    assert min(levels) > 0.5 * whole


def test_the_click_lies_at_twice_the_map_to_the_frame(ready: Page) -> None:
    beats = [[1.25 + beat * 60 / 112.003, 0 if beat % 4 else 1] for beat in range(100)]
    heard = render(ready, beats=beats, click=1, fromS=10.0)["onsets"]
    due = {2 * (round(beat_s * RATE_HZ) - 10 * RATE_HZ): accent for beat_s, accent in beats}
    assert len(heard) > 10
    # The click's sine of 1600 or 1000 Hz passes this test's threshold some samples in: the same number each time.
    rises = {(due[one], frame - one) for frame in heard for one in due if abs(frame - one) < RATE_HZ / 10}
    assert len(rises) == 2
    assert all(0 <= rise <= 12 for _, rise in rises)


def test_it_goes_round_at_half_speed(ready: Page) -> None:
    """Two seconds that loop last four: a hit one second in comes back every four."""
    loop = {"startS": 3.0, "endS": 5.0}
    heard = render(ready, kind="bare", hitsS=[4.0], knownS=[4.0], fromS=3.0, loop=loop)["onsets"]
    assert [round(frame / RATE_HZ, 2) for frame in heard] == [2.0, 6.0, 10.0, 14.0]


def test_song_time_goes_half_as_fast(ready: Page) -> None:
    """What people tap while it plays slowly is meant in the song's own time."""
    assert render(ready, fromS=10.0)["songS"] == pytest.approx(11.5)


def test_the_speed_is_set_before_anything_was_played(ready: Page) -> None:
    """Chosen on a fresh page, where there is no audio clock yet."""
    song = {"lanes": [], "beats_s": [], "bars": [], "duration_s": 1}
    asked = """async (song) => {
      const { Transport } = await import('kitpost/lanes/transport');
      const transport = new Transport(song);
      transport.setSpeed(0.5);
      return transport.factor;
    }"""
    assert ready.evaluate(asked, song) == 2
