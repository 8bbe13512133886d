"""How one stroke sounds at the drum: every stroke is made anew, so that no two takes share a sample.

Peak near 1 at full velocity. Pitches, times and levels are house choices.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from analysis.core.samples import Floats

RATE_HZ = 48_000


@dataclass(frozen=True)
class Touch:
    """`hardness` 0 to 1; `brush`: swept wires instead of a stick."""

    hz: float
    hardness: float
    rng: np.random.Generator
    brush: bool = False


def _time(length_s: float) -> Floats:
    return (np.arange(int(length_s * RATE_HZ)) / RATE_HZ).astype(np.float32)


def _noise(touch: Touch, frames: int, *, brighter: int) -> Floats:
    """White noise, brightened by so many first differences."""
    noise = touch.rng.standard_normal(frames + brighter, np.float32)
    for _ in range(brighter):
        noise = np.diff(noise) * np.float32(0.7)
    return noise


def _rising(sound: Floats, rise_s: float) -> Floats:
    frames = max(1, int(rise_s * RATE_HZ))
    sound[:frames] *= np.linspace(0, 1, frames + 1, dtype=np.float32)[1:]
    return sound


def _skin(touch: Touch, partials: tuple[float, ...], ring_s: float, falls_by: float) -> Floats:
    """A struck skin: partials that fall to their pitch, each stroke a little elsewhere and so a little other."""
    time = _time(5 * ring_s)
    hz = touch.hz * (1 + 0.01 * touch.rng.standard_normal())
    bent = hz * (time + np.float32(falls_by * 0.03) * (1 - np.exp(-time / np.float32(0.03))))
    tone = np.zeros(len(time), np.float32)
    for order, ratio in enumerate(partials):
        level = (0.55**order) * (1 + 0.35 * touch.rng.standard_normal())
        fade = np.exp(-time * np.float32((1 + 0.6 * order) / ring_s))
        tone += np.float32(level) * fade * np.sin(np.float32(2 * np.pi * ratio) * bent + np.float32(0.3 * order))
    return tone


def _kick(touch: Touch) -> Floats:
    sound = _skin(touch, (1.0, 1.6, 2.3), 0.09, 1.2)
    beater = int(0.02 * RATE_HZ)
    sound[:beater] += 0.3 * touch.hardness * _noise(touch, beater, brighter=1) * np.exp(-_time(0.02) / 0.004)
    return _rising(sound, 0.0008)


def _snare(touch: Touch) -> Floats:
    if touch.brush:
        frames = int(0.16 * RATE_HZ)
        sweep = _noise(touch, frames, brighter=1) * np.exp(-_time(0.16) / np.float32(0.05)) * np.float32(0.5)
        return _rising(sweep, 0.006)
    sound = _skin(touch, (1.0, 1.59, 2.14, 2.65), 0.045, 0.25)
    wires = _noise(touch, len(sound), brighter=1) * np.exp(-_time(0.225)[: len(sound)] / np.float32(0.05))
    return _rising(0.6 * sound + 0.45 * wires, 0.0005)


def _tom(touch: Touch) -> Floats:
    sound = _skin(touch, (1.0, 1.59, 2.14), 0.13, 0.5)
    stick = int(0.02 * RATE_HZ)
    sound[:stick] += 0.25 * touch.hardness * _noise(touch, stick, brighter=1) * np.exp(-_time(0.02) / 0.005)
    return _rising(sound, 0.0008)


def _metal(length_s: float, ring_s: float, level: float, rise_s: float) -> Callable[[Touch], Floats]:
    def sound(touch: Touch) -> Floats:
        time = _time(length_s)
        ring = np.float32(ring_s * (0.7 + 0.3 * touch.hardness))
        struck = np.exp(-time / ring) + 0.6 * np.exp(-time / np.float32(0.006))
        return _rising(np.float32(level) * struck * _noise(touch, len(time), brighter=2), rise_s)

    return sound


SOUNDS: dict[str, Callable[[Touch], Floats]] = {
    "kick": _kick,
    "snare": _snare,
    "tom": _tom,
    "hat": _metal(0.16, 0.025, 0.22, 0.0004),
    "open": _metal(0.6, 0.16, 0.22, 0.0004),
    "ride": _metal(1.0, 0.28, 0.13, 0.0004),
    "crash": _metal(2.0, 0.6, 0.3, 0.001),
}


def strike(sound: str, hz: float, hardness: float, rng: np.random.Generator, *, brush: bool = False) -> Floats:
    """One stroke: float32, (n_frames,). Softer ones are duller as well as quieter."""
    made = SOUNDS[sound](Touch(hz, hardness, rng, brush)) * np.float32(hardness)
    duller = np.float32(0.5 * (1 - hardness))
    made[1:] = (1 - duller) * made[1:] + duller * made[:-1]
    return made
