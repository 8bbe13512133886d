"""The kit of `made_kit.py` has the snare on the left, for overheads and rooms alike."""

from pathlib import Path

import pytest

from analysis.core.samples import Samples
from analysis.delivery.measured_set import Song
from analysis.delivery.sides import sides
from tests.analysis.delivery.asked import ask, failed
from tests.analysis.delivery.made_kit import kit


def swapped(tracks: dict[str, Samples], *kinds: str) -> dict[str, Samples]:
    out = dict(tracks)
    for kind in kinds:
        out |= {f"{kind}L": tracks[f"{kind}R"], f"{kind}R": tracks[f"{kind}L"]}
    return out


@pytest.mark.parametrize(("kinds", "found"), [((), 0), (("OH",), 1)])
def test_unstated_the_pairs_must_agree(tmp_path: Path, kinds: tuple[str, ...], found: int) -> None:
    assert len(failed(ask(sides, tmp_path, swapped(kit(), *kinds)))) == found


@pytest.mark.parametrize(
    ("perspective", "kinds", "found"),
    [("player", (), 0), ("player", ("OH",), 1), ("audience", (), 2)],
)
def test_a_stated_perspective_decides(tmp_path: Path, perspective: str, kinds: tuple[str, ...], found: int) -> None:
    checks = ask(sides, tmp_path, swapped(kit(), *kinds), Song(perspective=perspective))

    assert len(failed(checks)) == found
