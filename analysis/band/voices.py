"""How each pitched instrument sounds: one function a voice, one note long, peak near 1 at full velocity.

A voice gets (pitch, velocity 0-1, seconds, sample rate, take) and returns mono float32. `take` picks between a few
versions of the same note, so that repeated notes are not copies.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from analysis.band.tables import (
    Tone,
    band_noise,
    cycle,
    decay,
    fade_in,
    harmonics_below,
    hz_of,
    read,
    read_bent,
    seconds,
)

Voice = Callable[[int, float, float, int, int], Tone]
DETUNES = (0.0, 0.6, -0.5, 0.3)  # cents, by take
VOWELS = {"a": ((730, 1.0, 90), (1090, 0.5, 110), (2440, 0.25, 170)), "o": ((500, 1.0, 80), (850, 0.6, 90), (2450, 0.1, 170))}


def _partials(count: int, slope: float, pluck_at: float = 0.0) -> tuple[float, ...]:
    """Harmonics falling as 1/k^slope; `pluck_at` thins those with a node where the string is struck."""
    return tuple(
        round(k**-slope * (abs(np.sin(np.pi * k * pluck_at)) if pluck_at else 1.0), 5) for k in range(1, count + 1)
    )


def _struck(pitch: int, velocity: float, length_s: float, rate: int, take: int, *, slopes: tuple[float, float],
            times_s: tuple[float, float], pluck_at: float, rise_s: float) -> Tone:  # fmt: skip
    """A bright start that gives way to a duller ring, as struck and plucked strings do."""
    hz = hz_of(pitch + DETUNES[take % 4] / 100)
    frames, count = int(length_s * rate), harmonics_below(hz, rate)
    high = (220 / hz) ** 0.45
    bright = cycle(_partials(count, round(slopes[0] + 0.7 * (1 - velocity), 1), pluck_at))
    dull = cycle(_partials(min(count, 10), slopes[1], pluck_at))
    tone = read(bright, hz, frames, rate) * decay(frames, rate, times_s[0] * high) * np.float32(0.6)
    tone += read(dull, hz, frames, rate, phase=0.1) * decay(frames, rate, times_s[1] * high) * np.float32(0.5)
    return fade_in(tone * np.float32(velocity), rate, rise_s)


def _add_attack_noise(tone: Tone, rate: int, level: float, low_hz: float, high_hz: float, length_s: float, take: int) -> Tone:
    frames = min(len(tone), int(length_s * rate))
    burst = band_noise(int(length_s * rate), rate, low_hz, high_hz, 40 + take)[:frames]
    tone[:frames] += burst * decay(frames, rate, length_s / 4) * np.float32(level)
    return tone


def bass(pitch: int, velocity: float, length_s: float, rate: int, take: int) -> Tone:
    tone = _struck(pitch, velocity, length_s, rate, take, slopes=(1.0, 2.0), times_s=(0.10, 0.55), pluck_at=0.18, rise_s=0.003)
    return _add_attack_noise(tone, rate, 0.06 * velocity, 700, 3_500, 0.02, take)


def hammers(pitch: int, velocity: float, length_s: float, rate: int, take: int) -> Tone:
    """Struck strings, three to a note and slightly apart."""
    tone = _struck(pitch, velocity, length_s, rate, take, slopes=(1.1, 1.9), times_s=(0.18, 1.0), pluck_at=0.12, rise_s=0.002)
    hz = hz_of(pitch + 0.02)
    beating = read(cycle(_partials(6, 1.6)), hz, len(tone), rate, phase=0.3)
    tone += beating * decay(len(tone), rate, 1.2 * (220 / hz) ** 0.45) * np.float32(0.25 * velocity)
    return _add_attack_noise(tone, rate, 0.05 * velocity, 300, 2_500, 0.03, take)


def tines(pitch: int, velocity: float, length_s: float, rate: int, take: int) -> Tone:
    """A struck tine over a pickup: a sine that growls when hit hard, with a short chime."""
    hz = hz_of(pitch + DETUNES[take % 4] / 100)
    frames = int(length_s * rate)
    time = np.arange(frames) / rate
    growl = (0.25 + 0.6 * velocity**2) * np.exp(-time / 0.5)
    chime = 0.12 * velocity * np.exp(-time / 0.06) * np.sin(2 * np.pi * min(14.02 * hz, 0.4 * rate) * time)
    sine = cycle((1.0,))
    cycles = hz * time + growl * read(sine, hz, frames, rate) / (2 * np.pi)
    tone = (read_bent(sine, cycles) * np.exp(-time / (1.5 * (220 / hz) ** 0.4)) + chime) * velocity
    return fade_in(tone.astype(np.float32), rate, 0.002)


def reeds(pitch: int, velocity: float, length_s: float, rate: int, take: int) -> Tone:
    """A steady organ-like tone of octaves and fifths, with a small key click."""
    hz = hz_of(pitch)
    count = harmonics_below(hz, rate, 8)
    table = cycle((0.8, 0.6, 0.5, 0.35, 0.02, 0.2, 0.02, 0.2)[:count])
    time = np.arange(int(length_s * rate)) / rate
    tone = read_bent(table, hz * time + 0.0009 * hz * np.sin(2 * np.pi * 6.1 * time) / 6.1)
    tone = fade_in(tone * np.float32(0.35 + 0.35 * velocity), rate, 0.008)
    return _add_attack_noise(tone, rate, 0.02, 1_500, 5_000, 0.01, take)


def steel_strings(pitch: int, velocity: float, length_s: float, rate: int, take: int) -> Tone:
    tone = _struck(pitch, velocity, length_s, rate, take, slopes=(0.75, 1.7), times_s=(0.22, 0.9), pluck_at=0.15, rise_s=0.0012)
    return _add_attack_noise(tone, rate, 0.12 * velocity, 2_000, 7_000, 0.012, take)


def nylon_strings(pitch: int, velocity: float, length_s: float, rate: int, take: int) -> Tone:
    tone = _struck(pitch, velocity, length_s, rate, take, slopes=(1.3, 2.2), times_s=(0.12, 0.7), pluck_at=0.22, rise_s=0.003)
    return _add_attack_noise(tone, rate, 0.07 * velocity, 800, 3_000, 0.018, take)


def pad(pitch: int, velocity: float, length_s: float, rate: int, take: int) -> Tone:
    """Three slow, slightly detuned sawtooth-like tones with a soft top."""
    frames = int(length_s * rate)
    hz = hz_of(pitch)
    table = cycle(_partials(harmonics_below(hz, rate, 24), 1.5))
    tone = sum(
        (read(table, hz * 2 ** (cents / 1200), frames, rate, phase=start) for cents, start in ((0, 0), (7, 0.4), (-6, 0.7))),
        start=np.zeros(frames, np.float32),
    )
    return fade_in(tone * np.float32(0.33 * velocity), rate, 0.18 + 0.12 * (1 - velocity))


def _vowel_table(vowel: str, hz: float, rate: int) -> Tone:
    """Harmonics under the resonances of a vowel (centre Hz, height, width Hz)."""
    count = np.arange(1, harmonics_below(hz, rate, 40) + 1)
    at = count * hz
    heights = sum(height / (1 + ((at - centre) / width) ** 2) for centre, height, width in VOWELS[vowel])
    return cycle(tuple(float(round(value, 4)) for value in (0.05 + heights) / count**0.6))


def sung(vowel: str) -> Voice:
    """A voice-like tone: soft start with breath, a small scoop up to pitch, vibrato that sets in late."""

    def voice(pitch: int, velocity: float, length_s: float, rate: int, take: int) -> Tone:
        frames, hz = int(length_s * rate), hz_of(pitch)
        time = np.arange(frames) / rate
        cents = -60 * np.exp(-time / 0.05) + 22 * np.clip((time - 0.25) / 0.3, 0, 1) * np.sin(2 * np.pi * 5.4 * time)
        cycles = np.cumsum(hz * np.exp2(cents / 1200)) / rate
        tone = read_bent(_vowel_table(vowel, hz, rate), cycles) * np.float32(0.8 * velocity)
        fade_in(tone, rate, 0.03 + 0.03 * (1 - velocity))
        return _add_attack_noise(tone, rate, 0.05 * velocity, 1_500, 8_000, 0.09, take)

    return voice


def click_sound(hz: float) -> Voice:
    """A decaying cosine: it starts at its peak, so its very first frame is the click."""

    def voice(pitch: int, velocity: float, length_s: float, rate: int, take: int) -> Tone:
        frames = int(0.03 * rate)
        tone: Tone = np.cos(2 * np.pi * hz * seconds(frames, rate)) * decay(frames, rate, 0.006) * np.float32(velocity)
        return tone

    return voice


RELEASE_S = {"bass": 0.05, "tines": 0.09, "hammers": 0.09, "reeds": 0.03, "steel": 0.06, "nylon": 0.08, "pad": 0.45,
             "a": 0.09, "o": 0.09}  # fmt: skip
VOICES: dict[str, Voice] = {
    "bass": bass,
    "tines": tines,
    "hammers": hammers,
    "reeds": reeds,
    "steel": steel_strings,
    "nylon": nylon_strings,
    "pad": pad,
    "a": sung("a"),
    "o": sung("o"),
    "accent": click_sound(1_760.0),
    "beat": click_sound(1_320.0),
}
