"""A guess that is said with its confidence. The band's own players are what it must get right."""

import json
from fractions import Fraction
from pathlib import Path

import numpy as np
import pytest

from analysis.band.render import mix_stems, render_stems
from analysis.band.score import steady, write_score
from analysis.core.reports import Drums
from analysis.core.samples import Samples
from analysis.core.thresholds import Limits
from analysis.features.feature_arrays import Features, MusicFeatures
from analysis.features.guide_drums import NUMBERS, WEIGHTS, DrumModel, drum_numbers, find_drums
from tests import signals

PLAYERS = ("bass", "keys", "strings", "pad", "lead", "drums")


def features_of(samples: Samples) -> Features:
    music = MusicFeatures(48_000, samples.shape[1])
    music.add(samples)
    return music.finish()


@pytest.fixture(scope="module")
def stems() -> dict[str, Samples]:
    plan = steady("Guide", 5, Fraction(104), form=(("verse", 8),), players=PLAYERS, ring_out_s=1.0)
    return dict(render_stems(write_score(plan), 48_000))


def test_a_drum_stem_has_drums(stems: dict[str, Samples]) -> None:
    found = find_drums(features_of(stems["drums"]), Limits())

    assert found.present
    assert found.confidence >= Limits().drums_sure


@pytest.mark.parametrize("player", PLAYERS[:-1])
def test_other_stems_are_never_said_to_have_drums(stems: dict[str, Samples], player: str) -> None:
    assert not find_drums(features_of(stems[player]), Limits()).present


def test_a_drumless_mix_is_not_said_to_have_drums(stems: dict[str, Samples]) -> None:
    mix = mix_stems({name: stem for name, stem in stems.items() if name != "drums"})

    assert not find_drums(features_of(mix), Limits()).present


@pytest.mark.parametrize(
    "samples", [signals.silence(duration_s=6.0), signals.noise(duration_s=1.0)], ids=["silence", "short"]
)
def test_too_little_sound_gives_no_answer(samples: Samples) -> None:
    assert drum_numbers(features_of(samples)) is None
    assert find_drums(features_of(samples), Limits()) == Drums()


def test_numbers_are_finite(stems: dict[str, Samples]) -> None:
    for samples in (stems["drums"], signals.tone(duration_s=6.0), signals.constant(0.1, duration_s=6.0)):
        numbers = drum_numbers(features_of(samples))
        assert numbers is None or np.isfinite(numbers).all()


def test_the_weights_belong_to_the_numbers_by_name(tmp_path: Path) -> None:
    stored = json.loads(WEIGHTS.read_text("utf-8"))
    moved = {part: dict(reversed(stored[part].items())) for part in ("means", "scales", "weights")}
    (tmp_path / "moved.json").write_text(json.dumps(stored | moved))

    assert np.array_equal(DrumModel.load(tmp_path / "moved.json").weights, DrumModel.load(WEIGHTS).weights)


def test_weights_of_other_numbers_are_refused(tmp_path: Path) -> None:
    stored = json.loads(WEIGHTS.read_text("utf-8"))
    stored["weights"]["brightness"] = stored["weights"].pop("fine onsets a second")
    (tmp_path / "other.json").write_text(json.dumps(stored))

    with pytest.raises(ValueError, match="brightness, fine onsets a second"):
        DrumModel.load(tmp_path / "other.json")


def test_a_model_survives_being_stored(tmp_path: Path) -> None:
    DrumModel.load(WEIGHTS).save(tmp_path / "again.json")

    assert (tmp_path / "again.json").read_text("utf-8") == WEIGHTS.read_text("utf-8")


def test_every_number_has_a_name(stems: dict[str, Samples]) -> None:
    numbers = drum_numbers(features_of(stems["drums"]))

    assert numbers is not None
    assert len(numbers) == len(NUMBERS)
