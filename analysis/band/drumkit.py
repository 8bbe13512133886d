"""How the drums sound: one function a piece, a whole hit long, mono, peak near 1 at full velocity."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from analysis.band.tables import Tone, band_noise, decay, fade_in, seconds
from analysis.band.voices import Strike, Voice

# House choices, as are all pitches and times below: partials that fit no scale.
_CYMBAL_PARTIALS_HZ = (3_127.0, 4_211.0, 5_383.0, 6_791.0, 8_219.0, 9_743.0)
_TWO_PI = np.float32(2 * np.pi)


@dataclass(frozen=True)
class _CymbalKind:
    """How long a cymbal sounds and rings, how much metal it has over its noise, how loud it is, how fast it speaks."""

    length_s: float
    ring_s: float
    metal: float
    level: float
    seed: int
    rise_s: float = 0.0004


def _noise(frames: int, rate: int, band_hz: tuple[float, float], seed: int) -> Tone:
    return band_noise(frames, rate, band_hz[0], min(band_hz[1], 0.45 * rate), seed)


def _falling(time: Tone, hz: float, extra_hz: float, falls_in_s: float) -> Tone:
    """A sine that starts `extra_hz` above `hz` and falls to it, as a struck skin does."""
    fall = np.float32(falls_in_s)
    tone: Tone = np.sin(_TWO_PI * (np.float32(hz) * time + np.float32(extra_hz) * fall * (1 - np.exp(-time / fall))))
    return tone


def _kick(strike: Strike) -> Tone:
    frames, rate = int(0.38 * strike.rate), strike.rate
    tone = _falling(seconds(frames, rate), 47, 62, 0.028) * decay(frames, rate, 0.11)
    beater = _noise(frames, rate, (1_200, 5_000), 60 + strike.take) * decay(frames, rate, 0.004)
    tone += beater * np.float32(0.12 * strike.velocity)
    return fade_in(tone * np.float32(strike.velocity), rate, 0.0008)


def _snare(strike: Strike) -> Tone:
    frames, rate = int(0.30 * strike.rate), strike.rate
    time = seconds(frames, rate)
    head = np.sin(_TWO_PI * 187 * time) * decay(frames, rate, 0.05)
    head += np.float32(0.6) * np.sin(_TWO_PI * 331 * time) * decay(frames, rate, 0.03)
    wires = _noise(frames, rate, (1_400, 11_000), 70 + strike.take)
    wires = wires * decay(frames, rate, 0.05 + 0.05 * strike.velocity)
    tone = (np.float32(0.55) * head + np.float32(0.22) * wires) * np.float32(strike.velocity)
    return fade_in(tone, rate, 0.0005)


def _cymbal(kind: _CymbalKind) -> Voice:
    """Noise and a few partials that fit no scale."""

    def piece(strike: Strike) -> Tone:
        frames, rate = int(kind.length_s * strike.rate), strike.rate
        time = seconds(frames, rate)
        tone = _noise(frames, rate, (5_500, 17_000), kind.seed + strike.take) * np.float32(0.3)
        for partial in _CYMBAL_PARTIALS_HZ:
            if partial < 0.45 * rate:
                tone += np.float32(kind.metal) * np.sin(_TWO_PI * np.float32(partial * (1 + kind.seed / 5_000)) * time)
        tone *= decay(frames, rate, kind.ring_s * (0.7 + 0.3 * strike.velocity))
        return fade_in(tone * np.float32(kind.level * strike.velocity), rate, kind.rise_s)

    return piece


def _tom(hz: float) -> Voice:
    def piece(strike: Strike) -> Tone:
        frames, rate = int(0.45 * strike.rate), strike.rate
        tone = _falling(seconds(frames, rate), hz, hz * 0.25, 0.05) * decay(frames, rate, 0.14)
        tone += _noise(frames, rate, (600, 4_000), 90 + strike.take) * decay(frames, rate, 0.008) * np.float32(0.1)
        return fade_in(tone * np.float32(0.8 * strike.velocity), rate, 0.0008)

    return piece


def _stick(strike: Strike) -> Tone:
    """Two sticks struck together, as a drummer counts in."""
    frames, rate = int(0.08 * strike.rate), strike.rate
    time = seconds(frames, rate)
    tone = np.sin(_TWO_PI * 1_870 * time) + np.float32(0.7) * np.sin(_TWO_PI * 2_930 * time)
    return fade_in(tone * decay(frames, rate, 0.012) * np.float32(0.5 * strike.velocity), rate, 0.0003)


KIT: dict[str, Voice] = {
    "kick": _kick,
    "snare": _snare,
    "hat": _cymbal(_CymbalKind(0.12, 0.025, 0.05, 0.5, seed=10)),
    "open": _cymbal(_CymbalKind(0.5, 0.16, 0.05, 0.5, seed=20)),
    "ride": _cymbal(_CymbalKind(0.9, 0.3, 0.09, 0.4, seed=30)),
    "crash": _cymbal(_CymbalKind(2.2, 0.7, 0.05, 0.8, seed=40, rise_s=0.002)),
    "tom-high": _tom(158.0),
    "tom-low": _tom(98.0),
    "stick": _stick,
}
KIT_PAN = {  # -1 left, 1 right, as the audience sees it
    "kick": 0.0, "snare": 0.05, "hat": 0.35, "open": 0.35, "ride": -0.4, "crash": -0.3, "tom-high": 0.15,
    "tom-low": -0.35, "stick": 0.0,
}  # fmt: skip
