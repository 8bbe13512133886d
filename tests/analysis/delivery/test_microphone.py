"""Tracks under wrong names, in a kit whose drums have colours of their own."""

from pathlib import Path

import numpy as np
import pytest
from scipy import signal

from analysis.core.samples import Samples
from analysis.delivery.microphone import microphones
from tests import signals
from tests.analysis.delivery.asked import ask, failed
from tests.analysis.delivery.made_kit import FRAMES, kit, late


def test_a_good_set_is_not_contradicted(tmp_path: Path) -> None:
    (check,) = ask(microphones, tmp_path, kit())

    assert check.passed


@pytest.mark.parametrize(("one", "other"), [("KickIn", "SnTop"), ("Tom1", "OHL")])
def test_two_tracks_under_each_others_name(tmp_path: Path, one: str, other: str) -> None:
    tracks = kit()
    found = failed(ask(microphones, tmp_path, tracks | {one: tracks[other], other: tracks[one]}))

    assert {("microphone", f"{one}.wav"), ("microphone", f"{other}.wav")} & set(found)
    assert set(found) <= {("microphone", f"{one}.wav"), ("microphone", f"{other}.wav")}


def test_a_dull_snare_is_a_snare(tmp_path: Path) -> None:
    """Under two poles at 2,500 Hz it is 7 dB darker above 6 kHz than the tom's microphone, which hears cymbals."""
    tracks = kit()
    poles = signal.butter(2, 2_500, fs=48_000)
    checks = ask(microphones, tmp_path, tracks | {"SnTop": signal.lfilter(*poles, tracks["SnTop"], axis=0)})

    assert failed(checks) == []


def changed(tracks: dict[str, Samples], name: str) -> Samples:
    return {
        "KickIn": late(tracks["SnTop"], 4) * 0.8 + signals.noise(rms=1e-4, duration_s=6.0),
        "Tom1": signals.noise(rms=1e-4, duration_s=FRAMES / 48_000),
        "OHR": np.asarray(0.7 * tracks["OHL"]),
    }[name]


@pytest.mark.parametrize("name", ["KickIn", "Tom1", "OHR"])
def test_another_snare_a_dead_tom_and_one_overhead_twice(tmp_path: Path, name: str) -> None:
    tracks = kit()

    assert failed(ask(microphones, tmp_path, tracks | {name: changed(tracks, name)})) == [("microphone", f"{name}.wav")]


def test_tracks_that_share_nothing_are_not_judged(tmp_path: Path) -> None:
    tracks = {
        name: signals.noise(duration_s=2.0, seed=seed) for seed, name in enumerate(("KickIn", "SnTop", "Tom1", "OHL"))
    }

    assert failed(ask(microphones, tmp_path, tracks)) == []
