"""Which tracks hold the click, and when nobody can say."""

from pathlib import Path

import pytest

from analysis.core.samples import Samples
from analysis.delivery.click_bleed import click_bleed
from analysis.delivery.measured_set import Song
from tests.analysis.delivery.asked import ask, failed
from tests.analysis.lineup.test_click_heard import TEMPO_MAP, click, played


def tracks(**added: Samples) -> dict[str, Samples]:
    return {name: played(seed) + added.get(name, 0.0) for seed, name in enumerate(("Hat", "SnTop"))}


def test_names_the_track_and_the_level(tmp_path: Path) -> None:
    checks = ask(click_bleed, tmp_path, tracks(Hat=click(-50.0)), Song(TEMPO_MAP))

    assert failed(checks) == [("click-bleed", "Hat.wav")]
    assert checks[0].value == pytest.approx(-50, abs=3)


def test_a_clean_set_says_from_which_level_on(tmp_path: Path) -> None:
    (check,) = ask(click_bleed, tmp_path, tracks(), Song(TEMPO_MAP))

    assert check.passed
    assert check.limit == -60


def test_a_part_that_lies_on_the_grid_cannot_be_told_from_a_click(tmp_path: Path) -> None:
    (check,) = ask(click_bleed, tmp_path, {"Hat": click(-6.0) + 1e-6, "SnTop": click(-6.0)}, Song(TEMPO_MAP))

    assert check.undecided


def test_without_a_map_it_is_not_asked(tmp_path: Path) -> None:
    assert ask(click_bleed, tmp_path, tracks()) == []
