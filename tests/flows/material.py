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


TITLE = "Spare Button Under Gravy"


def make_material(folder: Path) -> Material:
    plan = SongPlan(TITLE, 77, Steady(Fraction(104)), players=BAND, form=FORM)
    stems = render_stems(write_score(plan), RATE_HZ)
    drums = render_stems(write_score(replace(plan, players=("drums",))), RATE_HZ)["drums"]
    mix = mix_stems(stems)
    frames = min(len(mix), len(drums))
    made = material_in(folder)
    for name, path in zip(BAND, made.stems, strict=True):
        write_wav(path, stems[name], RATE_HZ)
    for gain, path in zip((0.4, 0.45), made.rough_mixes, strict=True):
        write_wav(path, gain * (mix[:frames] + drums[:frames]), RATE_HZ)
    for hears, path in zip(MICROPHONES.values(), made.tracks, strict=True):
        write_wav(path, drums @ np.array(hears, np.float32)[:, None], RATE_HZ)
    return made


def material_in(folder: Path) -> Material:
    """What `make_material` wrote there."""
    return Material(
        title=TITLE,
        stems=[folder / f"spare-button_{name}.wav" for name in BAND],
        rough_mixes=(folder / "spare-button_rough-1.wav", folder / "spare-button_rough-2.wav"),
        tracks=[folder / f"{name}.wav" for name in MICROPHONES],
    )
