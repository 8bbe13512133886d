"""Bar lines from taps, with simulated tappers: what is known is where the bars of the music truly begin."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray
from playwright.sync_api import Page

from tests.portal.static.js.lib.test_sums import ask

pytestmark = pytest.mark.browser
Doubles = NDArray[np.float64]
BARS = 64
BPM = 112.0


@dataclass(frozen=True)
class Played:
    """Music in 4/4 that breathes: its bar lines, and the attacks [s, ms, weight] on its beats and around them."""

    lines_s: Doubles
    attacks: list[list[float]]


def played(random: np.random.Generator) -> Played:
    """The beat goes 4 % faster and slower again over 24 bars; players are 4 ms around it, and a tenth as
    many attacks lie anywhere."""
    beats = np.arange(4 * BARS + 1)
    beat_s = 60 / BPM * (1 + 0.04 * np.sin(2 * np.pi * beats / 96))
    true_s = 2.0 + np.concatenate([[0], np.cumsum(beat_s)[:-1]])
    on_beat = true_s + random.normal(0, 0.004, len(true_s))
    astray = random.uniform(true_s[0], true_s[-1], len(true_s) // 10)
    attacks = np.sort(np.concatenate([on_beat, astray]))
    return Played(true_s[::4], [[float(at), 0.0, 0.8] for at in attacks])


def bars_of_start() -> list[dict[str, Any]]:
    return [{"bar": bar, "time_s": 2.0 + (bar - 1) * 240 / BPM, "beats": 4} for bar in range(1, BARS + 2)]


def start() -> dict[str, Any]:
    return {"anchors": [{"bar": 1, "time_s": 2.0, "meter": "4/4", "ramps": False}], "last_bpm": str(BPM)}


def taps_on(lines_s: Doubles, random: np.random.Generator, *, spread_s: float, lean_s: float) -> list[float]:
    """One in 20 is missed, one in 20 hit twice (90 ms apart), and one in 30 comes in the middle of a bar."""
    taps = lines_s + lean_s + random.normal(0, spread_s, len(lines_s))
    kept = taps[random.random(len(taps)) > 0.05]
    twice = kept[random.random(len(kept)) < 0.05] + 0.09
    stray = kept[random.random(len(kept)) < 0.03] + 120 / BPM
    return [float(tap) for tap in np.sort(np.concatenate([kept, twice, stray]))]


def errors_ms(state: dict[str, Any], music: Played) -> Doubles:
    bars = [anchor["bar"] for anchor in state["anchors"]]
    made_s = np.interp(np.arange(1, BARS + 2), bars, [anchor["time_s"] for anchor in state["anchors"]])
    inside = slice(bars[0] - 1, bars[-1])
    return np.asarray(np.abs(made_s[inside] - music.lines_s[inside]) * 1000, np.float64)


def run(page: Page, music: Played, taps: list[float], attacks: list[list[float]]) -> dict[str, Any]:
    seen = {"bars": bars_of_start(), "dots": attacks}
    answer: dict[str, Any] = ask(page, "map/taps", "m.withTaps(given[0], given[1], given[2])", start(), taps, seen)
    return answer


@pytest.mark.parametrize("spread_ms", [10, 25])
@pytest.mark.parametrize("lean_ms", [0, -20])
def test_tapped_bar_lines_come_to_lie_on_the_music(ready: Page, spread_ms: int, lean_ms: int) -> None:
    """Where attacks agree the map is as good as the players, who are 4 ms around the beat."""
    before, after = [], []
    for seed in range(20):
        random = np.random.default_rng(seed)
        music = played(random)
        taps = taps_on(music.lines_s[:BARS], random, spread_s=spread_ms / 1000, lean_s=lean_ms / 1000)
        made = run(ready, music, taps, music.attacks)
        before.append(np.abs(np.asarray(taps)[:, None] - music.lines_s[None]).min(axis=1)[:BARS] * 1000)
        after.append(errors_ms(made["state"], music))
    raw, mended = np.concatenate(before), np.concatenate(after)
    assert np.median(mended) < 4.0
    assert np.percentile(mended, 95) < 15.0
    assert np.median(mended) < np.median(raw)


@pytest.mark.parametrize("spread_ms", [10, 25])
def test_without_attacks_taps_are_smoothed(ready: Page, spread_ms: int) -> None:
    """What neighbours agree on weighs more than any one tap."""
    raw, mended = [], []
    for seed in range(20):
        random = np.random.default_rng(100 + seed)
        music = played(random)
        taps = taps_on(music.lines_s[:BARS], random, spread_s=spread_ms / 1000, lean_s=0)
        made = run(ready, music, taps, [])
        assert "no attacks match" in made["said"]
        raw.append(np.full(1, 0.6745 * spread_ms))  # the median distance of a normal spread
        mended.append(errors_ms(made["state"], music))
    assert np.median(np.concatenate(mended)) < 0.8 * np.median(np.concatenate(raw))


def test_a_second_tap_and_one_between_lines_are_left_out_and_said(ready: Page) -> None:
    lines = [2.0, 2.0 + 240 / BPM, 2.0 + 480 / BPM]
    found = ask(ready, "map/taps", "m.linesOf(given[0], given[1])", bars_of_start(), [*lines, lines[0] + 0.1, 3.0])
    assert [line["bar"] for line in found["lines"]] == [1, 2, 3]
    assert (found["doubled"], found["between"]) == (1, 1)
    said = ask(ready, "map/taps", "m.withTaps(...given)", start(), [*lines, 3.0], {"bars": bars_of_start(), "dots": []})
    assert said["said"] == "4 taps: 3 bar lines set. Left out: 1 between bar lines. Smoothed; no attacks match."


def test_taps_that_drift_away_from_the_map_are_followed(ready: Page) -> None:
    """The music is 5 % slower than the map: after 16 bars it is 1.7 s late, most of a bar."""
    music = [2.0 + bar * 240 / BPM * 1.05 for bar in range(17)]
    made = ask(ready, "map/taps", "m.withTaps(...given)", start(), music, {"bars": bars_of_start(), "dots": []})[
        "state"
    ]
    assert [anchor["bar"] for anchor in made["anchors"]] == list(range(1, 18))
    assert float(made["last_bpm"]) == pytest.approx(BPM / 1.05, abs=0.01)
    assert [anchor["time_s"] for anchor in made["anchors"]] == pytest.approx(music, abs=0.001)


def test_anchors_between_taps_keep_their_kind_and_move_along(ready: Page) -> None:
    state = start()
    state["anchors"].append({"bar": 3, "time_s": 2.0 + 480 / BPM, "meter": "3/4", "ramps": False, "free": True})
    lines = [{"bar": bar, "mapS": 2.0 + (bar - 1) * 240 / BPM, "timeS": 2.1 + (bar - 1) * 240 / BPM} for bar in (2, 4)]
    made = ask(ready, "map/taps", "m.throughLines(...given)", state, lines, bars_of_start())
    assert [(one["bar"], one["meter"], one.get("free", False)) for one in made["anchors"]] == [
        (1, "4/4", False),
        (2, "4/4", False),
        (3, "3/4", True),
        (4, "3/4", True),
    ]
    assert made["anchors"][2]["time_s"] == pytest.approx(2.1 + 480 / BPM)
    assert ask(ready, "map/taps", "m.throughLines(...given)", state, [], bars_of_start()) == state


def test_one_tap_moves_one_line(ready: Page) -> None:
    made = ask(ready, "map/taps", "m.withTaps(...given)", start(), [2.03], {"bars": bars_of_start(), "dots": []})
    assert made["state"]["anchors"][0]["time_s"] == pytest.approx(2.03)
    assert made["state"]["last_bpm"] == str(BPM)
    nothing = ask(ready, "map/taps", "m.withTaps(...given)", start(), [3.07], {"bars": bars_of_start(), "dots": []})
    assert nothing["state"] == start()
    assert nothing["said"] == "1 tap: 0 bar lines set. Left out: 1 between bar lines."


def test_a_few_taps_leave_the_tempo_after_them_as_it_was(ready: Page) -> None:
    """Five bars tapped with 25 ms of spread say less of the tempo than the map that was there: it stays as it was."""
    for seed in range(10):
        random = np.random.default_rng(300 + seed)
        taps = [2.0 + bar * 240 / BPM + float(random.normal(0, 0.025)) for bar in range(8, 13)]
        made = ask(ready, "map/taps", "m.withTaps(...given)", start(), taps, {"bars": bars_of_start(), "dots": []})
        assert made["state"]["last_bpm"] == str(BPM)
