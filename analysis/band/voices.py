"""How each pitched instrument sounds: one function a voice, one note long, mono, peak near 1 at full velocity."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from analysis.band.tables import (
    SOFT_TOP_HZ,
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


@dataclass(frozen=True)
class Strike:
    """One note to be sounded. `take` picks between a few versions, so that repeated notes are not copies."""

    pitch: int
    velocity: float
    length_s: float
    rate: int
    take: int = 0

    @property
    def frames(self) -> int:
        return max(1, int(self.length_s * self.rate))

    @property
    def hz(self) -> float:
        return hz_of(self.pitch + _DETUNE_CENTS[self.take % len(_DETUNE_CENTS)] / 100)


@dataclass(frozen=True)
class _StringKind:
    """A string: how bright at the start and how dull later (harmonics fall as 1/k^slope), and how long each lasts at
    220 Hz; where it is struck (a share of its length), how fast it speaks, how noisy its first moment is."""

    slopes: tuple[float, float]
    lasts_s: tuple[float, float]
    struck_at: float
    rise_s: float
    noise: float
    noise_hz: tuple[float, float]
    noise_s: float


Voice = Callable[[Strike], Tone]

# House choices, as are all shares, levels and times below.
_DETUNE_CENTS = (0.0, 0.6, -0.5, 0.3)
_PAD_SPREAD = ((0.0, 0.0), (7.0, 0.4), (-6.0, 0.7))  # cents and starting phase of each tone
_SOFTER_SLOPE = 0.8  # how much duller the softest note starts
_VOWELS = {  # resonances: centre Hz, height, width Hz
    "a": ((730, 1.0, 90), (1090, 0.5, 110), (2440, 0.25, 170)),
    "o": ((500, 1.0, 80), (850, 0.6, 90), (2450, 0.1, 170)),
    "e": ((530, 1.0, 80), (1840, 0.45, 130), (2480, 0.3, 180)),
}
_BASS_STRING = _StringKind((1.0, 2.0), (0.10, 0.55), 0.18, 0.003, 0.06, (700, 3_500), 0.02)
_HAMMERED = _StringKind((1.1, 1.9), (0.18, 1.0), 0.12, 0.002, 0.05, (300, 2_500), 0.03)
_STEEL = _StringKind((0.75, 1.7), (0.22, 0.9), 0.15, 0.0012, 0.12, (2_000, 7_000), 0.012)
_NYLON = _StringKind((1.3, 2.2), (0.12, 0.7), 0.22, 0.003, 0.07, (800, 3_000), 0.018)


def _partials(
    hz: float, count: int, slope: float, struck_at: float = 0.0, top_hz: float = SOFT_TOP_HZ
) -> tuple[float, ...]:
    """Harmonics of `hz` falling as 1/k^slope, faster above `top_hz`; thin where the string is struck on their node."""
    order = np.arange(1, count + 1)
    heights = order**-slope / (1 + (order * hz / top_hz) ** 3)
    if struck_at:
        heights *= np.abs(np.sin(np.pi * order * struck_at))
    return tuple(float(height) for height in np.round(heights, 6))


def _add_noise(tone: Tone, strike: Strike, level: float, band_hz: tuple[float, float], length_s: float) -> Tone:
    """The pick, finger, hammer or breath at the start of a note."""
    whole = max(1, int(length_s * strike.rate))
    frames = min(len(tone), whole)
    burst = band_noise(whole, strike.rate, *band_hz, 40 + strike.take)[:frames]
    tone[:frames] += burst * decay(frames, strike.rate, length_s / 4) * np.float32(level)
    return tone


def _string(strike: Strike, kind: _StringKind) -> Tone:
    """A bright start that gives way to a duller ring."""
    count = harmonics_below(strike.hz, strike.rate)
    lasts = (220 / strike.hz) ** 0.45
    softness = round(_SOFTER_SLOPE * (1 - strike.velocity), 1)
    top_hz = SOFT_TOP_HZ * (1 - 0.5 * softness)
    bright = cycle(_partials(strike.hz, count, kind.slopes[0] + softness, kind.struck_at, top_hz))
    dull = cycle(_partials(strike.hz, min(count, 24), kind.slopes[1], kind.struck_at))
    frames, rate = strike.frames, strike.rate
    tone = read(bright, strike.hz, frames, rate) * decay(frames, rate, kind.lasts_s[0] * lasts) * np.float32(0.6)
    tone += (
        read(dull, strike.hz, frames, rate, phase=0.1) * decay(frames, rate, kind.lasts_s[1] * lasts) * np.float32(0.5)
    )
    tone *= np.float32(strike.velocity)
    fade_in(tone, rate, kind.rise_s)
    return _add_noise(tone, strike, kind.noise * strike.velocity, kind.noise_hz, kind.noise_s)


def _string_voice(kind: _StringKind) -> Voice:
    return lambda strike: _string(strike, kind)


def _hammers(strike: Strike) -> Tone:
    """Struck strings, more than one to a note and slightly apart, so that the ring beats."""
    tone = _string(strike, _HAMMERED)
    hz = strike.hz * 1.0012
    beating = read(cycle(_partials(hz, 6, 1.6)), hz, len(tone), strike.rate, phase=0.3)
    beating *= decay(len(tone), strike.rate, 1.2 * (220 / hz) ** 0.45) * np.float32(0.25 * strike.velocity)
    tone += fade_in(beating, strike.rate, _HAMMERED.rise_s)
    return tone


def _tines(strike: Strike) -> Tone:
    """A struck tine over a pickup: a sine that growls when hit hard, with a short chime."""
    frames, rate, hz, velocity = strike.frames, strike.rate, strike.hz, strike.velocity
    growl = np.float32(0.25 + 0.6 * velocity**2) * decay(frames, rate, 0.5)
    sine = cycle((1.0,))
    cycles = np.arange(frames) * (hz / rate) + growl * read(sine, hz, frames, rate) / np.float32(2 * np.pi)
    tone = read_bent(sine, cycles) * decay(frames, rate, 1.5 * (220 / hz) ** 0.4)
    short = min(frames, int(0.3 * rate))
    chime = read(sine, min(14.02 * hz, 0.4 * rate), short, rate) * decay(short, rate, 0.06)
    tone[:short] += chime * np.float32(0.12 * velocity)
    return fade_in(tone * np.float32(velocity), rate, 0.002)


def _reeds(strike: Strike) -> Tone:
    """A steady organ-like tone of octaves and fifths, slowly turning, with a small key click."""
    rate = strike.rate
    table = cycle((0.8, 0.6, 0.5, 0.35, 0.02, 0.2, 0.02, 0.2)[: harmonics_below(strike.hz, rate, 8)])
    time = np.arange(strike.frames) / rate
    tone = read_bent(table, strike.hz * (time + 0.00015 * np.sin(2 * np.pi * 6.1 * time)))
    fade_in(tone, rate, 0.008)
    return _add_noise(tone * np.float32(0.35 + 0.35 * strike.velocity), strike, 0.02, (1_500, 5_000), 0.01)


def _pad(strike: Strike) -> Tone:
    """Three slow, slightly detuned tones with a soft top."""
    table = cycle(_partials(strike.hz, harmonics_below(strike.hz, strike.rate), 1.5))
    tone = np.zeros(strike.frames, np.float32)
    for cents, phase in _PAD_SPREAD:
        tone += read(table, strike.hz * 2 ** (cents / 1200), strike.frames, strike.rate, phase=phase)
    tone *= np.float32(0.33 * strike.velocity)
    return fade_in(tone, strike.rate, 0.18 + 0.12 * (1 - strike.velocity))


def _vowel(vowel: str, hz: float, rate: int) -> Tone:
    """Harmonics of `hz` as the resonances of a vowel let them through."""
    count = np.arange(1, harmonics_below(hz, rate) + 1)
    heights = sum(height / (1 + ((count * hz - centre) / width) ** 2) for centre, height, width in _VOWELS[vowel])
    heights = (0.05 + heights) / count**0.6 / (1 + (count * hz / SOFT_TOP_HZ) ** 3)
    return cycle(tuple(float(value) for value in np.round(heights, 6)))


def _sung(vowel: str) -> Voice:
    """A voice-like tone: soft start with breath, a small scoop up to pitch, vibrato that sets in late."""

    def voice(strike: Strike) -> Tone:
        rate, hz = strike.rate, strike.hz
        time = np.arange(strike.frames) / rate
        vibrato = 22 * np.clip((time - 0.25) / 0.3, 0, 1) * np.sin(2 * np.pi * 5.4 * time)
        cents = vibrato - 60 * np.exp(-time / 0.05)
        tone = read_bent(_vowel(vowel, hz, rate), np.cumsum(hz * np.exp2(cents / 1200)) / rate)
        tone *= np.float32(0.8 * strike.velocity)
        fade_in(tone, rate, 0.03 + 0.03 * (1 - strike.velocity))
        return _add_noise(tone, strike, 0.05 * strike.velocity, (1_500, 8_000), 0.09)

    return voice


def _click_pip(hz: float) -> Voice:
    """A decaying cosine: it starts at its peak, so its very first frame is the click."""

    def voice(strike: Strike) -> Tone:
        frames = int(0.03 * strike.rate)
        tone: Tone = np.cos(np.float32(2 * np.pi * hz) * seconds(frames, strike.rate))
        tone *= decay(frames, strike.rate, 0.006) * np.float32(strike.velocity)
        return tone

    return voice


def _click_block(hz: float) -> Voice:
    """Struck wood: two modes that do not fit, and a knock; starts at once."""

    def voice(strike: Strike) -> Tone:
        frames, rate = int(0.09 * strike.rate), strike.rate
        time = seconds(frames, rate) * np.float32(2 * np.pi * hz)
        tone: Tone = np.cos(time) * decay(frames, rate, 0.018) + np.cos(time * np.float32(2.57)) * decay(
            frames, rate, 0.008
        )
        tone *= np.float32(0.5 * strike.velocity)
        return tone

    return voice


def _click_tick(level: float) -> Voice:
    """A burst of noise, the same every time; its first frame is its peak."""

    def voice(strike: Strike) -> Tone:
        frames = int(0.02 * strike.rate)
        tone = band_noise(frames, strike.rate, 2_000, 12_000, 5) * decay(frames, strike.rate, 0.003)
        tone[0] = np.abs(tone).max()
        return tone * np.float32(level * strike.velocity / tone[0])

    return voice


VOICES: dict[str, Voice] = {
    "bass": _string_voice(_BASS_STRING),
    "tines": _tines,
    "hammers": _hammers,
    "reeds": _reeds,
    "steel": _string_voice(_STEEL),
    "nylon": _string_voice(_NYLON),
    "pad": _pad,
    "a": _sung("a"),
    "o": _sung("o"),
    "e": _sung("e"),
    "pip-accent": _click_pip(1_760.0),
    "pip-beat": _click_pip(1_320.0),
    "block-accent": _click_block(1_150.0),
    "block-beat": _click_block(820.0),
    "tick-accent": _click_tick(1.0),
    "tick-beat": _click_tick(0.55),
}
RELEASE_S = {  # how long a voice sounds on when its note ends; clicks and drums are whole by themselves
    "bass": 0.05, "tines": 0.09, "hammers": 0.09, "reeds": 0.03, "steel": 0.06, "nylon": 0.08, "pad": 0.45,
    "a": 0.09, "o": 0.09, "e": 0.09,
}  # fmt: skip
