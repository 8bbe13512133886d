"""Audio with known answers, for all tests: every signal states what must be measured in it and how closely.

Samples are float64, (frames, channels), full scale 1.0. Standards are named beside their signals. The true-peak tones
are for measuring only: never play them at a listening level.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

import numpy as np

from analysis.core.samples import Samples

# EBU Tech 3341 v4 (2023), table 1.
LOUDNESS_TOLERANCE_LU = 0.1
TRUE_PEAK_ABOVE_DB = 0.2
TRUE_PEAK_BELOW_DB = 0.4
# House choice: a level that is read off samples must agree to this.
PEAK_TOLERANCE_DB = 0.01

SNARE_HZ = (187.0, 331.0)


def tone(
    *,
    hz: float = 440.0,
    amplitude: float = 0.5,
    duration_s: float = 1.0,
    sample_rate_hz: int = 48_000,
    channels: int = 1,
    phase_deg: float = 0.0,
) -> Samples:
    """A sine; its peak level is 20*log10(amplitude) where a sample falls on the crest."""
    place = np.arange(round(duration_s * sample_rate_hz)) * (hz / sample_rate_hz)
    wave = amplitude * np.sin(2 * np.pi * (place % 1.0) + np.radians(phase_deg))
    return np.repeat(wave[:, None], channels, axis=1)


def noise(
    *, rms: float = 0.1, duration_s: float = 1.0, sample_rate_hz: int = 48_000, channels: int = 1, seed: int = 0
) -> Samples:
    """White noise, other in each channel, of exactly this RMS over the whole."""
    samples = np.random.default_rng(seed).standard_normal((round(duration_s * sample_rate_hz), channels))
    scaled: Samples = samples * (rms / np.sqrt(np.mean(samples**2, axis=0)))
    return scaled


def silence(*, duration_s: float = 1.0, sample_rate_hz: int = 48_000, channels: int = 1) -> Samples:
    """Digital silence: no loudness, no peak level, `silent`."""
    return np.zeros((round(duration_s * sample_rate_hz), channels))


def constant(value: float, *, duration_s: float = 1.0, sample_rate_hz: int = 48_000, channels: int = 1) -> Samples:
    """Nothing but an offset: 0.01 is -40.0 dBFS."""
    return np.full((round(duration_s * sample_rate_hz), channels), value)


def quantised(samples: Samples, bits: int, *, dither_seed: int | None = None) -> Samples:
    """What a fixed-point file of this depth holds, rails included; with triangular dither when a seed is given."""
    steps = 2.0 ** (bits - 1)
    scaled = samples * steps
    if dither_seed is not None:
        rng = np.random.default_rng(dither_seed)
        scaled = scaled + rng.uniform(-0.5, 0.5, samples.shape) + rng.uniform(-0.5, 0.5, samples.shape)
    return np.clip(np.round(scaled), -steps, steps - 1) / steps


def clipped_tone(
    *,
    over_db: float = 3.0,
    hz: float = 997.0,
    bits: int = 24,
    duration_s: float = 1.0,
    sample_rate_hz: int = 48_000,
    channels: int = 1,
) -> Samples:
    """A sine `over_db` too loud for a fixed-point file, cut at its rails.

    997 Hz, +3 dB, 24 bits, 48 kHz, 1 s: 1994 runs of 12 or 13 frames, 23 962 frames at the rails (arithmetic).
    """
    amplitude = 10 ** (over_db / 20)
    wave = tone(hz=hz, amplitude=amplitude, duration_s=duration_s, sample_rate_hz=sample_rate_hz, channels=channels)
    return quantised(wave, bits)


def full_scale_low_sine(hz: float = 20.0, *, bits: int = 16, sample_rate_hz: int = 48_000) -> Samples:
    """Unclipped, though it rests at the rail: 5 frames a crest at 20 Hz, 3 at 40 Hz, 1 from 60 Hz up (16 bits, 48 kHz).

    The amplitude is the highest code, so nothing is cut.
    """
    return quantised(tone(hz=hz, amplitude=1 - 2.0 ** (1 - bits), sample_rate_hz=sample_rate_hz), bits)


@dataclass(frozen=True)
class ClickTrack:
    """Clicks whose first frames are known: `frames` and, of those, the accented `bar_frames`."""

    samples: Samples
    sample_rate_hz: int
    frames: tuple[int, ...]
    bar_frames: tuple[int, ...]


def beat_frame(beat: int, bpm: Fraction | int, sample_rate_hz: int, first_frame: int = 0) -> int:
    """Frame nearest to a beat (0 is the first), from the exact tempo; a half rounds up."""
    exact = first_frame + beat * Fraction(60 * sample_rate_hz) / bpm
    return (2 * exact.numerator + exact.denominator) // (2 * exact.denominator)


def click_track(
    *,
    bpm: Fraction | int = 112,
    beats: int = 16,
    beats_per_bar: int = 4,
    sample_rate_hz: int = 48_000,
    first_frame: int = 0,
    accented: bool = True,
    amplitude: float = 0.5,
    tail_s: float = 0.5,
) -> ClickTrack:
    """Short bursts that begin at full strength, so their first frame is unmistakable; half as loud off the accent."""
    frames = tuple(beat_frame(beat, bpm, sample_rate_hz, first_frame) for beat in range(beats))
    samples = np.zeros((frames[-1] + round(tail_s * sample_rate_hz), 1))
    time = np.arange(round(0.02 * sample_rate_hz)) / sample_rate_hz
    for beat, frame in enumerate(frames):
        is_accent = accented and beat % beats_per_bar == 0
        burst = np.cos(2 * np.pi * (1_500 if is_accent else 1_000) * time) * np.exp(-time / 0.004)
        end = min(frame + len(burst), len(samples))
        samples[frame:end, 0] += burst[: end - frame] * amplitude * (1.0 if is_accent or not accented else 0.5)
    return ClickTrack(samples, sample_rate_hz, frames, frames[::beats_per_bar])


def burst(*, frames: int = 4_800, sample_rate_hz: int = 48_000, seed: int = 0) -> Samples:
    """One drum-like hit: two modes and noise, gone within 0.1 s."""
    time = np.arange(frames) / sample_rate_hz
    skin = sum(np.sin(2 * np.pi * hz * time) for hz in SNARE_HZ) * np.exp(-time / 0.04)
    wires = np.random.default_rng(seed).standard_normal(frames) * np.exp(-time / 0.02)
    return np.asarray(0.25 * skin + 0.2 * wires)[:, None]


def close_snare(*, hits: int = 8, apart_frames: int = 24_000, seed: int = 0) -> Samples:
    """A close microphone on a snare at 48 kHz: the same kind of hit, never the same twice."""
    samples = np.zeros((hits * apart_frames, 1))
    for hit in range(hits):
        start = hit * apart_frames + 1_000
        samples[start : start + 4_800] += burst(seed=seed + hit) * (0.6 + 0.05 * (hit % 5))
    return samples


def delayed(samples: Samples, frames: int, *, gain: float = 1.0) -> Samples:
    """The same sound later by whole frames, equally long; a negative gain is a polarity flip."""
    late = np.zeros_like(samples)
    late[frames:] = samples[: len(samples) - frames] if frames else samples
    return late * gain


@dataclass(frozen=True)
class MicPair:
    """Two microphones on one drum: `lag_frames` is how much later the second hears it, `sign` its polarity."""

    first: Samples
    second: Samples
    lag_frames: int
    sign: int


def overhead_pair(*, lag_frames: int = 133, inverted: bool = False) -> MicPair:
    """Close snare and overhead, 0.95 m apart: 133 frames at 48 kHz and half the level. Lag to +/-1 frame."""
    snare = close_snare()
    sign = -1 if inverted else 1
    return MicPair(snare, delayed(snare, lag_frames, gain=0.5 * sign), lag_frames, sign)


def snare_heads() -> MicPair:
    """Top and bottom head: opposite movement is as it should be, not a fault."""
    top = close_snare()
    return MicPair(top, delayed(top, 20, gain=-1.0), 20, -1)


@dataclass(frozen=True)
class LoudnessCase:
    """Stretches of 1 kHz, each (peak dBFS a channel or None for silence, seconds), and what a meter must show.

    `measure`: I integrated; S, M short-term and momentary, at their highest.
    """

    number: int
    stretches: tuple[tuple[float | None, float], ...]
    expected_lufs: float
    measure: str = "I"


# Source: EBU Tech 3341 v4 (2023), table 1, cases 1-5, 9 and 12. (6 is five-channel, see `surround_case`; 7 and 8 need
# broadcast programme; 10 and 13 are made by `start_shifted`.)
LOUDNESS_CASES = (
    LoudnessCase(1, ((-23.0, 20),), -23.0),
    LoudnessCase(2, ((-33.0, 20),), -33.0),
    LoudnessCase(3, ((-36.0, 10), (-23.0, 60), (-36.0, 10)), -23.0),
    LoudnessCase(4, ((-72.0, 10), (-36.0, 10), (-23.0, 60), (-36.0, 10), (-72.0, 10)), -23.0),
    LoudnessCase(5, ((-26.0, 20), (-20.0, 20.1), (-26.0, 20)), -23.0),
    LoudnessCase(9, ((-20.0, 1.34), (-30.0, 1.66)) * 5, -23.0, "S"),
    LoudnessCase(12, ((-20.0, 0.18), (-30.0, 0.22)) * 25, -23.0, "M"),
)


def start_shifted(number: int, step: int) -> LoudnessCase:
    """EBU Tech 3341 v4, cases 10 (short-term) and 13 (momentary): silence of `step` (0-19) shifts, then one burst."""
    shift_s, burst_s, measure = (0.15, 3.0, "S") if number == 10 else (0.02, 0.4, "M")
    return LoudnessCase(number, ((None, step * shift_s), (-23.0, burst_s), (None, 1.0)), -23.0, measure)


def loudness_signal(case: LoudnessCase, *, sample_rate_hz: int = 48_000, channels: int = 2) -> Samples:
    """1 kHz in phase in all channels; the phase runs on through changes of level."""
    levels = np.concatenate(
        [
            np.full(round(length_s * sample_rate_hz), 0.0 if level is None else 10 ** (level / 20))
            for level, length_s in case.stretches
        ]
    )
    wave = tone(hz=1_000, amplitude=1.0, duration_s=len(levels) / sample_rate_hz, sample_rate_hz=sample_rate_hz)
    return np.repeat(wave[: len(levels)] * levels[:, None], channels, axis=1)


def surround_case(*, sample_rate_hz: int = 48_000) -> tuple[Samples, float]:
    """EBU Tech 3341 v4, case 6: L, R, C, Ls, Rs at 1 kHz for 20 s; integrated -23.0 LUFS."""
    levels_dbfs = (-28.0, -28.0, -24.0, -30.0, -30.0)
    wave = tone(hz=1_000, amplitude=1.0, duration_s=20, sample_rate_hz=sample_rate_hz)
    return wave * 10 ** (np.array(levels_dbfs) / 20), -23.0


@dataclass(frozen=True)
class TruePeakCase:
    """A tone at `rate_part` of the sample rate; `sample_peak_dbfs` is what the samples alone would say."""

    number: int
    rate_part: Fraction
    amplitude: float
    phase_deg: float
    expected_dbtp: float
    sample_peak_dbfs: float


# Source: EBU Tech 3341 v4 (2023), table 1, cases 15-19.
TRUE_PEAK_TONES = (
    TruePeakCase(15, Fraction(1, 4), 0.50, 0.0, -6.0, -6.02),
    TruePeakCase(16, Fraction(1, 4), 0.50, 45.0, -6.0, -9.03),
    TruePeakCase(17, Fraction(1, 6), 0.50, 60.0, -6.0, -7.27),
    TruePeakCase(18, Fraction(1, 8), 0.50, 67.5, -6.0, -6.71),
    TruePeakCase(19, Fraction(1, 4), 1.41, 45.0, 3.0, -0.03),
)
# Cases 20-23: the true peak is 0.0 dBTP wherever the decimation starts; the sample peaks differ.
DECIMATED_SAMPLE_PEAKS_DBFS = (-0.13, -0.47, -2.51, -0.47)
DECIMATED_EXPECTED_DBTP = 0.0


def true_peak_tone(case: TruePeakCase, *, sample_rate_hz: int = 48_000, channels: int = 2) -> Samples:
    """One second with 10 ms fades, as the standard asks."""
    samples = tone(
        hz=float(case.rate_part * sample_rate_hz),
        amplitude=case.amplitude,
        sample_rate_hz=sample_rate_hz,
        channels=channels,
        phase_deg=case.phase_deg,
    )
    return faded(samples, frames=sample_rate_hz // 100)


def faded(samples: Samples, *, frames: int) -> Samples:
    ramp = np.ones(len(samples))
    ramp[:frames] = np.linspace(0, 1, frames, endpoint=False)
    ramp[-frames:] = ramp[:frames][::-1]
    return samples * ramp[:, None]


def decimated_true_peak_tone(offset: int, *, channels: int = 2) -> Samples:
    """EBU Tech 3341 v4, cases 20-23 (`offset` 0-3): made at 4 x 48 kHz, low-passed, every fourth frame kept.

    fs/6 at 0.50 with one period of fs/4 at 1.00 in the middle, without a jump of phase.
    """
    quiet = 24 * 2_000  # frames at 4 x fs; a period of fs/6 is 24 of them, of fs/4 it is 16
    outer = 0.5 * np.sin(2 * np.pi * np.arange(quiet) / 24)
    inner = np.sin(2 * np.pi * np.arange(16) / 16)
    wave = faded(np.concatenate([outer, inner, outer])[:, None], frames=1_920)[:, 0]
    taps = np.arange(-512, 513) / 4
    low_pass = np.sinc(taps) / 4 * np.blackman(len(taps))
    return np.repeat(np.convolve(wave, low_pass, "same")[offset::4][:, None], channels, axis=1)
