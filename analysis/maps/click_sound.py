"""Click sounds of our own synthesis, and a planned click as samples. Nothing asked for passes the hard ceiling.

Every sound peaks at 1 and sounds from its first sample on, so that its onset is its frame. Pitches, lengths and levels
are house choices. Noise comes from a seeded generator: made again it is the same click, byte for byte.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Iterator

import numpy as np

from analysis.core.samples import Doubles
from analysis.maps.click import ClickOnset, ClickPlan
from analysis.maps.click_style import ClickStyle

_ACCENT_HZ, _BEAT_HZ, _PART_HZ = 1600.0, 1000.0, 800.0
_BEAT_RE_ACCENT_DB, _PART_RE_ACCENT_DB = -5.0, -11.0
_DECAY_S, _SOUND_S = 0.012, 0.06
_FADE_S = 0.004
# Free bars, struck: the second and third partial of one (2.76 and 5.40 times the first; theory of bars).
_BAR_PARTIALS = ((1.0, 1.0), (2.76, 0.4), (5.40, 0.2))
_WOOD_DECAY_S = 0.006
_TICK_DECAY_S, _TICK_SEED = 0.0025, 1
_SQUARE_DECAY_S, _SQUARE_HARMONICS = 0.02, (1, 3, 5)
# About 5 s at 48 kHz.
BLOCK_FRAMES = 2**18


def render_blocks(
    plan: ClickPlan, *, style: ClickStyle | None = None, block_frames: int = BLOCK_FRAMES
) -> Iterator[Doubles]:
    """The planned click piece by piece, so that hours of it fit into little memory.

    Parameters
    ----------
    plan : ClickPlan
    style : ClickStyle, optional
        Its sound and the accent's peak, which is lowered to the ceiling when more is asked for.
    block_frames : int

    Yields
    ------
    float64 array, shape (n_frames, 1)
        At most `block_frames` frames; full scale is 1.0.
    """
    accent, beat, part = click_sounds(style or ClickStyle(), plan.sample_rate_hz)
    ends = [onset.frame for onset in plan.onsets[1:]] + [plan.frames]
    clicks = deque(zip(plan.onsets, ends, strict=True))
    for start in range(0, plan.frames, block_frames):
        samples = np.zeros((min(block_frames, plan.frames - start), 1))
        while clicks and clicks[0][0].frame < start + len(samples):
            onset, end = clicks[0]
            sound = (accent if onset.is_accent else part if onset.part else beat)[: end - onset.frame]
            _lay(sound, onset, samples, start)  # it ends where the next begins
            if onset.frame + len(sound) > start + len(samples):
                break  # the rest of it belongs to the next block
            clicks.popleft()
        yield samples


def _lay(sound: Doubles, onset: ClickOnset, samples: Doubles, start: int) -> None:
    since = max(0, start - onset.frame)  # what sounded in the block before
    at = onset.frame + since - start
    piece = sound[since : since + len(samples) - at]
    samples[at : at + len(piece), 0] = piece


def render_plan(plan: ClickPlan, *, style: ClickStyle | None = None) -> Doubles:
    """The planned click as samples.

    Returns
    -------
    float64 array, shape (plan.frames, 1)
        Full scale is 1.0.
    """
    return np.concatenate([np.zeros((0, 1)), *render_blocks(plan, style=style)])


def click_sounds(style: ClickStyle, sample_rate_hz: int) -> tuple[Doubles, Doubles, Doubles]:
    """The sound on bar lines, on beats, and on what lies between them.

    Returns
    -------
    tuple of three float64 arrays, each of shape (n_frames,)
        Alike in length; full scale is 1.0.
    """
    peak_dbfs = style.accent_peak_dbfs
    levels_db = (peak_dbfs, peak_dbfs + _BEAT_RE_ACCENT_DB, peak_dbfs + _PART_RE_ACCENT_DB)
    make = _SOUNDS[style.sound]
    accent, beat, part = (
        _faded(make, pitch_hz, sample_rate_hz) * 10 ** (level_db / 20)
        for pitch_hz, level_db in zip((_ACCENT_HZ, _BEAT_HZ, _PART_HZ), levels_db, strict=True)
    )
    return accent, beat, part


_MakeSound = Callable[[Doubles, float], Doubles]


def _faded(make: _MakeSound, pitch_hz: float, sample_rate_hz: int) -> Doubles:
    time: Doubles = (np.arange(int(_SOUND_S * sample_rate_hz)) + 0.5) / sample_rate_hz
    sound = make(time, pitch_hz) * np.minimum(1, (_SOUND_S - time) / _FADE_S)
    loudest: Doubles = sound / np.abs(sound).max()
    return loudest


def _sine(time: Doubles, pitch_hz: float) -> Doubles:
    """A short decaying sine."""
    sound: Doubles = np.sin(2 * np.pi * pitch_hz * time) * np.exp(-time / _DECAY_S)
    return sound


def _wood(time: Doubles, pitch_hz: float) -> Doubles:
    """A struck bar: three partials that are not harmonic, gone at once."""
    sounding = [weight * np.sin(2 * np.pi * ratio * pitch_hz * time) for ratio, weight in _BAR_PARTIALS]
    sound: Doubles = np.sum(sounding, axis=0) * np.exp(-time / _WOOD_DECAY_S)
    return sound


def _tick(time: Doubles, pitch_hz: float) -> Doubles:
    """A breath of noise: random heights in turn above and below, four times as fast as the pitch, joined by lines."""
    places = time * pitch_hz * 8
    count = int(places[-1]) + 2
    heights = np.random.default_rng(_TICK_SEED).uniform(0.3, 1.0, count) * np.where(np.arange(count) % 2, -1, 1)
    sound: Doubles = np.interp(places, np.arange(count), heights) * np.exp(-time / _TICK_DECAY_S)
    return sound


def _square(time: Doubles, pitch_hz: float) -> Doubles:
    """The first odd harmonics of a square wave: hollow, and longer than the others."""
    sounding = [np.sin(2 * np.pi * number * pitch_hz * time) / number for number in _SQUARE_HARMONICS]
    sound: Doubles = np.sum(sounding, axis=0) * np.exp(-time / _SQUARE_DECAY_S)
    return sound


_SOUNDS: dict[str, _MakeSound] = {"sine": _sine, "wood": _wood, "tick": _tick, "square": _square}
