"""The sounds of a song: each draws its own voices, so that nothing is fitted to one synthesizer."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.signal import butter, sosfilt

from analysis.core.samples import Floats
from bench.form.materials import Rng

TABLE = 4096


@dataclass(frozen=True)
class Voice:
    """A pitched sound: a bright wave that dies away over a duller one, both as tables of one period."""

    bright: Floats
    dull: Floats
    bright_s: float
    dull_s: float
    attack_s: float
    release_s: float
    cents: tuple[float, ...]
    vibrato_cents: float
    noise: float


def draw_voice(rng: Rng, role: str) -> Voice:
    """One voice for a player. A tune is held more than it is plucked, a pad always; a bass is never noisy."""
    held = {"pad": 1.0, "lead": 0.75, "second": 0.6, "keys": 0.35, "guitar": 0.15, "bass": 0.3}[role]
    is_held = rng.random() < held
    spread = float(rng.uniform(2, 11)) if role in ("pad", "second") or rng.random() < 0.3 else 0.0
    return Voice(
        _wave(rng, rng.uniform(0.7, 1.4), odd=bool(rng.random() < 0.25)),
        _wave(rng, rng.uniform(1.5, 2.6), odd=False),
        30.0 if is_held else float(rng.uniform(0.08, 0.3)),
        60.0 if is_held else float(rng.uniform(0.4, 1.6)),
        float(rng.uniform(0.04, 0.15) if role == "pad" else rng.uniform(0.002, 0.03)),
        float(rng.uniform(0.2, 0.5) if role == "pad" else rng.uniform(0.03, 0.12)),
        (-spread, spread) if spread else (float(rng.normal(0, 3)),),
        float(rng.uniform(5, 30)) if role == "lead" and is_held else 0.0,
        float(rng.uniform(0, 0.08)) if role != "bass" else 0.0,
    )


def _wave(rng: Rng, slope: float, *, odd: bool) -> Floats:
    order = np.arange(1, 25)
    heights = order**-slope * rng.uniform(0.4, 1.0, len(order))
    if odd:
        heights[1::2] *= 0.1
    phase = np.arange(TABLE) / TABLE * 2 * np.pi
    turns = rng.uniform(0, 2 * np.pi, len(order))
    wave = sum(height * np.sin(k * phase + turn) for k, height, turn in zip(order, heights, turns, strict=True))
    return np.asarray(wave / np.abs(wave).max(), np.float32)


def sound(voice: Voice, pitch: int, seconds: float, gain: float, rate_hz: int, rng: Rng) -> Floats:
    """One note, its release included; soft ones are duller."""
    hold = max(int(seconds * rate_hz), 16)
    release = int(voice.release_s * rate_hz)
    time = np.arange(hold + release, dtype=np.float32) / np.float32(rate_hz)
    tone = np.zeros(len(time), np.float32)
    for cents in voice.cents:
        hz = 440 * 2 ** ((pitch - 69 + cents / 100) / 12)
        turns = time * np.float32(hz) + np.float32(rng.random())
        if voice.vibrato_cents:
            turns += np.float32(hz * voice.vibrato_cents / 1731 / 34) * np.sin(np.float32(34.0) * time)
        index = (turns * TABLE).astype(np.int64) & (TABLE - 1)
        tone += voice.bright[index] * np.exp(-time / np.float32(voice.bright_s)) * np.float32(0.4 + 0.6 * min(gain, 1))
        tone += voice.dull[index] * np.exp(-time / np.float32(voice.dull_s))
    attack = max(int(voice.attack_s * rate_hz), 8)
    tone[:attack] *= np.linspace(0, 1, min(attack, len(tone)), dtype=np.float32)
    tone[hold:] *= np.linspace(1, 0, len(tone) - hold, dtype=np.float32) ** 2
    if voice.noise:
        burst = min(int(0.03 * rate_hz), len(tone))
        tone[:burst] += rng.normal(0, voice.noise, burst).astype(np.float32) * np.linspace(
            1, 0, burst, dtype=np.float32
        )
    return tone * np.float32(gain / len(voice.cents))


def draw_kit(rng: Rng, rate_hz: int) -> dict[str, Floats]:
    """A drum kit of its own: each drum once, cut from a sweep and noise."""
    kick_hz, tone_hz = rng.uniform(42, 62), rng.uniform(150, 240)
    kit = {
        "kick": _drum(rng, rate_hz, kick_hz, rng.uniform(80, 220), rng.uniform(0.08, 0.25), 0.08, (800, 4000), 0.01),
        "snare": 0.8
        * _drum(rng, rate_hz, tone_hz, 60, 0.07, rng.uniform(0.5, 1.0), (900, 9000), rng.uniform(0.06, 0.16)),
    }
    for index, name in enumerate(("tom1", "tom2", "tom3")):
        kit[name] = 0.9 * _drum(
            rng, rate_hz, (190, 130, 88)[index] * rng.uniform(0.9, 1.1), 40, 0.18, 0.1, (500, 4000), 0.02
        )
    edge = rng.uniform(5500, 8500)
    for name, seconds, level in (("hat", 0.04, 0.5), ("open", 0.18, 0.45), ("ride", 0.35, 0.4), ("crash", 1.1, 0.8)):
        kit[name] = level * _drum(rng, rate_hz, 0, 0, 0, 1.0, (edge * (0.5 if name == "crash" else 1), 15_500), seconds)
    return kit


def _drum(
    rng: Rng,
    rate_hz: int,
    hz: float,
    sweep_hz: float,
    tone_s: float,
    noise: float,
    band: tuple[float, float],
    noise_s: float,
) -> Floats:
    time = np.arange(int(rate_hz * max(6 * tone_s, 6 * noise_s, 0.05))) / rate_hz
    out = np.zeros(len(time))
    if hz:
        out += np.sin(2 * np.pi * (hz * time - sweep_hz * 0.02 * np.exp(-time / 0.02))) * np.exp(-time / tone_s)
    high = min(band[1], rate_hz * 0.45)
    hiss = sosfilt(butter(2, [band[0], high], "band", fs=rate_hz, output="sos"), rng.normal(0, 1, len(time)))
    out += noise * hiss / (np.abs(hiss).max() + 1e-9) * np.exp(-time / noise_s)
    return np.asarray(out, np.float32)
