from __future__ import annotations

import json

import numpy as np
import pytest

from analysis.band.render import mix_stems, render_stems
from analysis.band.score import ALL_PITCHED, steady, write_score
from analysis.core.linear_model import LinearModel
from analysis.core.samples import Samples
from analysis.features.feature_arrays import Features, MusicFeatures
from analysis.form.bar_clock import BarClock
from analysis.form.mix_drums import MIX_NUMBERS, WEIGHTS, mix_numbers, strikes_like_drums
from analysis.form.slots import lay_slots
from analysis.form.song_sound import hear
from tests.analysis.form.played import DRUMS, clock_of, drum_features

FORM = (("verse", 4), ("chorus", 4))
CLOCK = clock_of(16)
BEAT = {"kick": (1, 3), "snare": (2, 4), "hat": (1, 1.5, 2, 2.5, 3, 3.5, 4, 4.5)}
FILE = drum_features(CLOCK, dict.fromkeys(range(1, 17), BEAT))


def test_drums_in_a_mix_are_told_from_the_same_mix_without_them() -> None:
    score = write_score(steady("Green Ladder Behind Soup", 4, 120, players=(*ALL_PITCHED, "drums"), form=FORM))
    stems = render_stems(score, 44_100)
    with_drums, without = heard(mix_stems(stems)), heard(mix_stems({**stems, "drums": 0 * stems["drums"]}))
    (slots,) = lay_slots(BarClock.even(np.array(score.truth.downbeats_s)), hear([with_drums]))

    assert strikes_like_drums(slots, with_drums)
    assert not strikes_like_drums(slots, without)


def test_strokes_are_held_against_each_other_band_by_band() -> None:
    numbers = mix_numbers(next(lay_slots(CLOCK, hear([FILE]))), FILE)

    assert numbers is not None
    found = dict(zip(MIX_NUMBERS, numbers, strict=True))
    assert found["strong strokes below 120 Hz re 300 to 900 Hz"] == pytest.approx(
        20 * np.log10(DRUMS["kick"][0] / DRUMS["kick"][2]), abs=0.1
    )


def test_silence_holds_no_drums() -> None:
    (slots,) = lay_slots(CLOCK, hear([FILE]))

    assert not strikes_like_drums(slots, drum_features(CLOCK, {}))


def test_weights_are_stored_by_name() -> None:
    data = json.loads(WEIGHTS.read_text())

    assert LinearModel.from_json(data, MIX_NUMBERS).to_json(MIX_NUMBERS) == data


def heard(samples: Samples) -> Features:
    music = MusicFeatures(44_100, samples.shape[1])
    music.add(samples)
    return music.finish()
