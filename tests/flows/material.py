"""What the people of a journey send, made by our own band: a short song without click, and a take of drums to it."""

from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import numpy as np

from analysis.band.clock import Steady
from analysis.band.render import mix_stems, render_stems, write_wav
from analysis.band.score import SongPlan, write_score
from tests.flows.course import Material

RATE_HZ = 48_000
FORM = (("intro", 4), ("verse", 8), ("chorus", 8), ("outro", 4))
BAND = ("bass", "keys", "lead")
# Each microphone hears the left and the right of the kit by so much.
MICROPHONES = {"KickIn": (0.6, 0.2), "SnTop": (0.2, 0.5), "OHL": (0.6, 0.0), "OHR": (0.0, 0.6)}


def make_material(folder: Path) -> Material:
    plan = SongPlan("Spare Button Under Gravy", 77, Steady(Fraction(104)), players=BAND, form=FORM)
    stems = render_stems(write_score(plan), RATE_HZ)
    drums = render_stems(write_score(replace(plan, players=("drums",))), RATE_HZ)["drums"]
    written = [write_wav(folder / f"ember-road_{name}.wav", stem, RATE_HZ) for name, stem in stems.items()]
    mix = mix_stems(stems)
    frames = min(len(mix), len(drums))
    mixes = [
        write_wav(folder / f"ember-road_rough-{number}.wav", gain * (mix[:frames] + drums[:frames]), RATE_HZ)
        for number, gain in ((1, 0.4), (2, 0.45))
    ]
    tracks = [
        write_wav(folder / f"{name}.wav", drums @ np.array(hears, np.float32)[:, None], RATE_HZ)
        for name, hears in MICROPHONES.items()
    ]
    return Material("Spare Button Under Gravy", written, (mixes[0], mixes[1]), tracks)
