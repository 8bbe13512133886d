"""Recorded drums instead of made ones: the strokes of a General MIDI sound font, at several hardnesses.

Needs the program fluidsynth. `python -m bench delivery --font FONT.sf2` was run with that of the Debian package
timgm6mb-soundfont, which holds recordings of single strokes.
"""

from __future__ import annotations

from functools import lru_cache
from pathlib import Path

import mido
import numpy as np

from analysis.core.samples import Floats
from bench.delivery.hits import RATE_HZ
from bench.delivery.kits import Drum
from bench.tempo.practice_songs import DRUM_CHANNEL, render

# General MIDI level 1, percussion key map.
_KEYS = {"kick": 36, "snare": 38, "hat": 42, "open": 46, "ride": 51, "crash": 49, "tom1": 48, "tom2": 45, "floor1": 41}
_VELOCITIES = (25, 50, 75, 100, 127)
# House choices: how far apart strokes are rendered, how much of each is kept, and what counts as its beginning.
_APART_S, _KEPT_S, _BEGINS, _BEFORE = 4.0, 2.0, 0.01, 24


def sampled_stroke(font: Path, drum: Drum, hardness: float) -> Floats:
    """float32, (n_frames,), peaking near the hardness: the stroke that was played about as hard."""
    strokes = _strokes(font)[drum.name]
    velocity = min(_VELOCITIES, key=lambda one: abs(one / 127 - hardness))
    return np.asarray(strokes[velocity] * np.float32(hardness), np.float32)


@lru_cache(maxsize=2)
def _strokes(font: Path) -> dict[str, dict[int, Floats]]:
    places = [(name, velocity) for name in _KEYS for velocity in _VELOCITIES]
    messages = []
    for number, (name, velocity) in enumerate(places):
        for at_s, kind in ((0.5, "note_on"), (2.5, "note_off")):
            message = mido.Message(kind, channel=DRUM_CHANNEL, note=_KEYS[name], velocity=velocity)
            messages.append((number * _APART_S + at_s, message))
    sound = render(messages, font, RATE_HZ, len(places) * _APART_S).mean(axis=1)
    found: dict[str, dict[int, Floats]] = {name: {} for name in _KEYS}
    for number, (name, velocity) in enumerate(places):
        found[name][velocity] = _one(sound[round(number * _APART_S * RATE_HZ) :][: round(_APART_S * RATE_HZ)])
    return found


def _one(sound: Floats) -> Floats:
    """From its first sound on, to a peak of 1."""
    size = np.abs(sound)
    first = int(np.argmax(size > _BEGINS * size.max()))
    kept = sound[max(0, first - _BEFORE) :][: round(_KEPT_S * RATE_HZ)].copy()
    kept[-RATE_HZ // 10 :] *= np.linspace(1, 0, RATE_HZ // 10)
    return np.asarray(kept / max(float(size.max()), 1e-9), np.float32)
