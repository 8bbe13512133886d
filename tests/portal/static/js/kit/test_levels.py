"""The sums of the headphone balance. Expected values are arithmetic: a gain is 10^(dB/20), and peaks are added."""

from __future__ import annotations

from typing import Any

import pytest
from playwright.sync_api import Page

from tests.portal.static.js.lib.test_sums import ask

pytestmark = pytest.mark.browser

LANES = [
    {"id": 1, "role": "bass", "peak_dbfs": 0.0},
    {"id": 2, "role": "keys", "peak_dbfs": -6.0},
    {"id": 3, "role": "keys", "peak_dbfs": None},
    {"id": 4, "role": "drums", "peak_dbfs": -6.0},
    {"id": 5, "role": "mix", "peak_dbfs": 0.0},
    {"id": 6, "role": "click", "peak_dbfs": 0.0},
]
ONE_PAIR = {"click": 0, "lanes": [0] * 6}


def levels(page: Page, kept: dict[str, Any] | None = None, lanes: list[dict[str, Any]] = LANES) -> Any:
    return ask(page, "kit/levels", "m.levelsFrom(given[0], given[1])", kept, lanes)


def gains(page: Page, **kept: Any) -> Any:
    return ask(page, "kit/levels", "m.gainsOf(given[0], given[1])", levels(page, kept), LANES)


def bound(
    page: Page, found: Any, *, total_db: float, ceiling_db: float, pairs: Any = ONE_PAIR, click_peak_db: float = -12
) -> float:
    asked = {"totalDb": total_db, "ceilingDb": ceiling_db, "pairs": pairs, "clickPeakDb": click_peak_db}
    held: float = ask(page, "kit/levels", "m.boundOf(given[0], given[1], given[2])", found, LANES, asked)
    return held


def test_whole_mixes_and_the_client_s_click_begin_off_beside_stems(ready: Page) -> None:
    assert gains(ready) == {"click": 1, "lanes": [1, 1, 1, 1, 0, 0]}
    alone = [{"id": 5, "role": "mix", "peak_dbfs": 0.0}]
    assert levels(ready, None, alone)["lanes"] == {"5": 0}


def test_a_group_s_level_comes_on_top_of_each_file_s(ready: Page) -> None:
    found = gains(ready, music=-6, groups={"keys": -3, "bass": -40}, lanes={"2": -1, "4": -48})
    expected = [10 ** (-6 / 20), 10 ** (-10 / 20), 10 ** (-9 / 20), 0, 0, 0]  # one bass is no group
    assert found["lanes"] == pytest.approx(expected)
    assert ask(ready, "kit/levels", "m.groupsOf(given[0])", LANES) == ["keys"]


def test_music_without_the_guide_drums_leaves_out_what_is_drums(ready: Page) -> None:
    assert gains(ready, without_drums=True)["lanes"] == [1, 1, 1, 0, 0, 0]
    assert ask(ready, "kit/levels", "m.hasGuideDrums(given[0])", LANES)
    assert not ask(ready, "kit/levels", "m.hasGuideDrums(given[0])", LANES[:3])


def test_the_sum_of_all_peaks_is_held_at_the_ceiling(ready: Page) -> None:
    """Peaks: click -12 dBFS, bass 1, keys 0.501 and (not measured) 1, drums 0.501; together 3.254 of full scale."""
    together = 10 ** (-12 / 20) + 1 + 10 ** (-6 / 20) + 1 + 10 ** (-6 / 20)
    held = bound(ready, gains(ready), total_db=0, ceiling_db=-6)
    assert held * together == pytest.approx(10 ** (-6 / 20))
    assert bound(ready, gains(ready), total_db=0, ceiling_db=-1) * together == pytest.approx(10 ** (-1 / 20))


def test_the_click_counts_with_the_peak_that_the_house_gave_it(ready: Page) -> None:
    """A click alone at -8 dBFS, raised by 6 dB to -2, is held back by 4 under a ceiling of -6."""
    alone = {"click": 10 ** (6 / 20), "lanes": [0] * 6}
    held = bound(ready, alone, total_db=0, ceiling_db=-6, click_peak_db=-8)
    assert held == pytest.approx(10 ** (-4 / 20))


def test_every_visit_begins_under_the_ceiling(ready: Page) -> None:
    """-18 dB of 3.254 is 0.41: under -6 dBFS (0.501) without being held back."""
    assert bound(ready, gains(ready), total_db=-18, ceiling_db=-6) == 1


def test_whatever_is_asked_for_stays_under_the_ceiling(ready: Page) -> None:
    """The highest of every slider: twelve dB up for each of click, files and a kept level beyond the slider's."""
    top = dict.fromkeys(["1", "2", "3", "4", "5", "6"], 99)
    found = gains(ready, click=99, music=99, groups={"keys": 99}, lanes=top)
    peaks = [10 ** (-12 / 20), 1, 10 ** (-6 / 20), 1, 10 ** (-6 / 20), 1, 1]
    asked = [found["click"], *found["lanes"]]
    held = bound(ready, found, total_db=0, ceiling_db=-1)
    assert held * sum(peak * gain for peak, gain in zip(peaks, asked, strict=True)) == pytest.approx(10 ** (-1 / 20))


def test_each_pair_of_outputs_has_its_own_sum(ready: Page) -> None:
    """The fullest pair decides for all, so that the balance stays: bass alone on the second is 1 of full scale."""
    pairs = {"click": 0, "lanes": [1, 2, 2, 2, 0, 0]}
    held = bound(ready, gains(ready), total_db=0, ceiling_db=-6, pairs=pairs)
    assert held == pytest.approx(10 ** (-6 / 20) / (2 * 10 ** (-6 / 20) + 1))
