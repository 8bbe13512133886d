"""From an upload to the approved map: how many keys, and how far the map's bar lines lie from the truth.

Songs of our own band, whose truth is known before a sound is made, are sent as rough mixes, measured by the worker, and
approved by keys. Two songs are enough for every run; MAPS_IN_KEYS=all takes all and prints the table:

    MAPS_IN_KEYS=all .venv/bin/python -m pytest tests/flows/test_maps_in_keys.py -s
"""

from __future__ import annotations

import json
import os
import re
import sys
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest
from playwright.sync_api import expect

from analysis.band.clock import Drift, Steady, Step
from analysis.band.render import mix_stems, render_stems, write_wav
from analysis.band.score import SongPlan, write_score
from analysis.band.truth import Truth
from analysis.maps.tempo_map import TempoMap
from tests.flows.keyboard import Keyboard
from tests.flows.people import Drummer, windows
from tests.flows.test_kills import ask, is_reported, send_whole, wait_for
from tests.houses import OpenHouse, needs_proc

if TYPE_CHECKING:
    from playwright.sync_api import Browser, Page

pytestmark = [pytest.mark.browser, needs_proc]

RATE_HZ = 48_000
FORM = (("intro", 4), ("verse", 8), ("chorus", 8), ("verse", 8), ("chorus", 8), ("outro", 4))
BAND: dict[str, Any] = {"players": ("drums", "bass", "keys", "lead"), "form": FORM}
PLANS = (
    SongPlan("Steady Drip On Linoleum", 401, Steady(Fraction(118)), **BAND),
    SongPlan("Drifting Mop Past Garage", 402, Drift(Fraction(96), 0.015, 96.0), **BAND),
    SongPlan("Odd Gear In Pantry", 403, Step(Fraction(112), Fraction(118), 21), **BAND),
    SongPlan(
        "Early Cabbage Behind Shed",
        404,
        Steady(Fraction(124)),
        pickup_beats=Fraction(2),
        silence_s=Fraction(3, 2),
        odd_bars=((13, "2/4"),),
        **BAND,
    ),
)
IN_EVERY_RUN = ("Steady Drip On Linoleum", "Early Cabbage Behind Shed")
# The band plays with a spread of 6 ms: a bar line nearer than three times that cannot be told from the playing.
MOST_OFF_MS = 18.0
# Down the desk to the song, in, and approve: no row of a demo's desk is further down than this.
MOST_KEYS = 12


@dataclass(frozen=True)
class Made:
    title: str
    keys: int
    off_ms: np.ndarray[Any, np.dtype[np.float64]]
    spread: str

    def __str__(self) -> str:
        middle, most, worst = np.quantile(self.off_ms, [0.5, 0.95, 1.0])
        off = f"bar lines off {middle:.1f} ms (95 %: {most:.1f}, worst {worst:.1f})"
        return f"{self.title}: {self.keys} keys; {off}; {self.spread}"


def test_a_map_takes_a_few_keys_and_is_true(chromium: Browser, quiet_house: OpenHouse, tmp_path: Path) -> None:
    wanted = [plan for plan in PLANS if os.environ.get("MAPS_IN_KEYS") == "all" or plan.title in IN_EVERY_RUN]
    with windows(chromium) as new_window:
        page = new_window()
        drummer = Drummer(page, quiet_house.said["url"], lambda _, __: None)
        drummer.sign_in(**quiet_house.said["drummer"])
        truths = {plan.title: sent(plan, drummer, quiet_house, tmp_path) for plan in wanted}
        made = [approved(page, quiet_house, title, *truths[title]) for title in truths]
    sys.stdout.write("\n".join(["", *map(str, made), ""]))
    for one in made:
        assert one.keys <= MOST_KEYS, one
        assert one.off_ms.max() <= MOST_OFF_MS, one


def sent(plan: SongPlan, drummer: Drummer, house: OpenHouse, folder: Path) -> tuple[int, Truth]:
    """Add the song to the booking, send its rough mix as the client, and wait until it is measured."""
    score = write_score(plan)
    mix = mix_stems(render_stems(score, RATE_HZ))
    drummer.page.goto(house.said["booking"])
    drummer.page.locator("form[action$='/songs/'] input[name=title]").fill(plan.title)
    drummer.press("Add the song")
    link = drummer.page.get_by_role("link", name=plan.title).first.get_attribute("href") or ""
    song = int(link.rstrip("/").rsplit("/", 1)[1])
    send_whole(house.sender("client"), write_wav(folder / f"{plan.title}.wav", 0.5 * mix, RATE_HZ), song)
    wait_for(lambda: is_reported(house.data_dir, song))
    return song, score.truth


def approved(page: Page, house: OpenHouse, title: str, song: int, truth: Truth) -> Made:
    page.goto(f"{house.said['url']}/desk/")
    expect(page.get_by_role("link", name=title).first).to_be_visible()
    keys = Keyboard(page)
    keys.row(title)
    keys.opens("Enter", r"/sheet/$")
    keys.press("a")
    expect(page.get_by_text(re.compile(r"The tempo map is approved as measured \(version 1\)"))).to_be_visible()
    page.wait_for_load_state("networkidle")  # the page stands before its keys do
    kept = ask(house.data_dir, "SELECT map FROM intake_approvedmap WHERE song_id = ?", song)
    tempo_map = TempoMap.from_json(json.loads(str(kept[0][0])))
    lines_s = np.array([float(tempo_map.time_of_bar(bar)) for bar in range(1, truth.bars + 1)])
    strokes = keys.strokes
    keys.opens("m", r"/map/$")
    spread = page.locator("[data-map-spread]").inner_text()
    return Made(title, strokes, 1000 * np.abs(lines_s - np.array(truth.downbeats_s[: truth.bars])), spread)
