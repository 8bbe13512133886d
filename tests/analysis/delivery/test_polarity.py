"""Who is odd is decided by all microphones together."""

from pathlib import Path

import pytest

from analysis.delivery.polarity import polarity
from tests.analysis.delivery.asked import ask, failed
from tests.analysis.delivery.made_kit import kit, late


@pytest.mark.parametrize("names", [("SnTop",), ("OHL", "OHR")])
def test_names_those_that_are_upside_down(tmp_path: Path, names: tuple[str, ...]) -> None:
    tracks = kit()
    checks = ask(polarity, tmp_path, tracks | {name: -tracks[name] for name in names})

    assert failed(checks) == [("polarity", f"{name}.wav") for name in names]


@pytest.mark.parametrize(("sign", "words"), [(-1, "as expected"), (1, "it was flipped")])
def test_the_bottom_microphone_may_be_either_way(tmp_path: Path, sign: int, words: str) -> None:
    tracks = kit()
    checks = ask(polarity, tmp_path, tracks | {"SnBot": sign * late(tracks["SnTop"], 20)})

    assert failed(checks) == []
    (bottom,) = [check for check in checks if check.file == "SnBot.wav"]
    assert (bottom.value, words in bottom.message) == (20, True)


def test_lags_are_those_of_the_geometry(tmp_path: Path) -> None:
    """The snare reaches its own microphone after 12 frames, OHL after 140, RmL after 480."""
    values = {check.file: check.value for check in ask(polarity, tmp_path, kit())}

    assert values["OHL.wav"] == pytest.approx(128, abs=1)
    assert values["RmL.wav"] == pytest.approx(468, abs=1)
