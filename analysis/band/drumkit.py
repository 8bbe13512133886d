"""How the drums sound: one function a piece, whole hit long, peak near 1 at full velocity."""

from __future__ import annotations

import numpy as np

from analysis.band.tables import Tone, band_noise, decay, fade_in, seconds
from analysis.band.voices import Voice

CYMBAL_PARTIALS = (3_127.0, 4_211.0, 5_383.0, 6_791.0, 8_219.0, 9_743.0)


def _noise(frames: int, rate: int, low_hz: float, high_hz: float, seed: int) -> Tone:
    return band_noise(frames, rate, low_hz, min(high_hz, 0.45 * rate), seed)


def kick(pitch: int, velocity: float, length_s: float, rate: int, take: int) -> Tone:
    frames = int(0.38 * rate)
    time = seconds(frames, rate)
    sweep = 47 * time + 62 * 0.028 * (1 - np.exp(-time / 0.028))
    tone = np.sin(2 * np.pi * sweep) * decay(frames, rate, 0.11)
    tone += _noise(frames, rate, 1_200, 5_000, 60 + take) * decay(frames, rate, 0.004) * np.float32(0.12 * velocity)
    return fade_in((tone * velocity).astype(np.float32), rate, 0.0008)


def snare(pitch: int, velocity: float, length_s: float, rate: int, take: int) -> Tone:
    frames = int(0.30 * rate)
    time = seconds(frames, rate)
    head = np.sin(2 * np.pi * 187 * time) * decay(frames, rate, 0.05) + 0.6 * np.sin(2 * np.pi * 331 * time) * decay(
        frames, rate, 0.03
    )
    wires = _noise(frames, rate, 1_400, 11_000, 70 + take) * decay(frames, rate, 0.05 + 0.05 * velocity)
    tone = (0.55 * head + 0.22 * wires) * velocity
    return fade_in(tone.astype(np.float32), rate, 0.0005)


def _cymbal(frames: int, rate: int, ring_s: float, seed: int, metal: float) -> Tone:
    time = seconds(frames, rate)
    tone = _noise(frames, rate, 5_500, 17_000, seed) * np.float32(0.3)
    for partial in CYMBAL_PARTIALS:
        if partial < 0.45 * rate:
            tone += np.float32(metal) * np.sin(2 * np.pi * partial * (1 + seed % 5 * 0.002) * time)
    cymbal: Tone = tone * decay(frames, rate, ring_s)
    return cymbal


def _cymbal_piece(length: float, ring_s: float, metal: float, seed: int, level: float, rise_s: float = 0.0004) -> Voice:
    def piece(pitch: int, velocity: float, length_s: float, rate: int, take: int) -> Tone:
        tone = _cymbal(int(length * rate), rate, ring_s * (0.7 + 0.3 * velocity), seed + take, metal)
        return fade_in(tone * np.float32(level * velocity), rate, rise_s)

    return piece


def _tom(hz: float) -> Voice:
    def piece(pitch: int, velocity: float, length_s: float, rate: int, take: int) -> Tone:
        frames = int(0.45 * rate)
        time = seconds(frames, rate)
        sweep = hz * (time + 0.25 * 0.05 * (1 - np.exp(-time / 0.05)))
        tone = np.sin(2 * np.pi * sweep) * decay(frames, rate, 0.14)
        tone += _noise(frames, rate, 600, 4_000, 90 + take) * decay(frames, rate, 0.008) * np.float32(0.1)
        return fade_in((tone * 0.8 * velocity).astype(np.float32), rate, 0.0008)

    return piece


def stick(pitch: int, velocity: float, length_s: float, rate: int, take: int) -> Tone:
    frames = int(0.08 * rate)
    time = seconds(frames, rate)
    tone = np.sin(2 * np.pi * 1_870 * time) + 0.7 * np.sin(2 * np.pi * 2_930 * time)
    return fade_in((0.5 * velocity * tone * decay(frames, rate, 0.012)).astype(np.float32), rate, 0.0003)


KIT: dict[str, Voice] = {
    "kick": kick,
    "snare": snare,
    "hat": _cymbal_piece(0.12, 0.025, 0.05, 10, 0.5),
    "open": _cymbal_piece(0.5, 0.16, 0.05, 20, 0.5),
    "ride": _cymbal_piece(0.9, 0.3, 0.09, 30, 0.4),
    "crash": _cymbal_piece(2.2, 0.7, 0.05, 40, 0.8, 0.002),
    "tom-high": _tom(158.0),
    "tom-low": _tom(98.0),
    "stick": stick,
}
KIT_PAN = {"kick": 0.0, "snare": 0.05, "hat": 0.35, "open": 0.35, "ride": -0.4, "crash": -0.3, "tom-high": 0.15,
           "tom-low": -0.35, "stick": 0.0}  # fmt: skip
