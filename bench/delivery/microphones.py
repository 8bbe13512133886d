"""From strokes to tracks: each drum through the air to each microphone, with the room around it.

A path is the direct sound, six first reflections (mirror images at the walls, floor and ceiling) and a tail of noise
that decays. Delays are distances over the speed of sound, to a fraction of a frame. Off the axis and further away it
gets duller. House choices, but for the physics of distance.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache
from pathlib import Path

import numpy as np
import numpy.typing as npt
from scipy import fft

from analysis.core.samples import Doubles, Floats
from bench.delivery.hits import RATE_HZ, strike
from bench.delivery.kits import SPEED_OF_SOUND_M_S, Drum, Kit, Microphone
from bench.delivery.players import Player, Stroke
from bench.delivery.sampled import sampled_stroke

_Spectra = npt.NDArray[np.complex64]
_BLOCK = 32_768
# Kept free in front of each answer, so that a delay between two frames can ring a little before itself.
_LEAD = 64
_HZ = np.fft.rfftfreq(2 * _BLOCK, 1 / RATE_HZ)
# What a reflection loses, and how loud the tail is beside the direct sound at one metre.
_WALL, _TAIL = 0.45, 0.055
# A close microphone hears what lies behind it this much; in the bottom microphone the other head sounds so.
_BEHIND = 0.25
_PEAKS_DBFS = {"close": -7.0, "over": -9.0, "room": -11.0}
_HISS_DBFS = -82.0


def dry_tracks(
    kit: Kit, strokes: Sequence[Stroke], frames: int, player: Player, seed: int, *, font: str = ""
) -> dict[str, Floats]:
    """What each drum gives off, as if heard at no distance; `font`: see `sampled.py`."""
    rng = np.random.default_rng(seed)
    tracks = {drum.name: np.zeros(frames + 4 * RATE_HZ, np.float32) for drum in kit.drums}
    for stroke in strokes:
        drum = kit.drum(stroke.drum)
        brush = player.brush and stroke.drum == "snare"
        if font:
            sound = sampled_stroke(Path(font), drum, stroke.hardness)
        else:
            sound = strike(drum.sound, drum.hz, stroke.hardness, rng, brush=brush)
        at = round(stroke.time_s * RATE_HZ)
        tracks[stroke.drum][at : at + len(sound)] += sound
    return {name: track[:frames] for name, track in tracks.items() if track.any()}


def record(kit: Kit, dry: dict[str, Floats], seed: int) -> dict[str, Floats]:
    """Every microphone's track: float32, (frames,), as loud as its kind is recorded, with its own hiss."""
    frames = len(next(iter(dry.values())))
    blocks = -(-(frames + _LEAD) // _BLOCK)
    spectra = {name: _blocks_of(track, blocks) for name, track in dry.items()}
    return {mic.name: _heard(kit, mic, spectra, frames, seed + number) for number, mic in enumerate(kit.microphones)}


def _blocks_of(track: Floats, blocks: int) -> _Spectra:
    padded = np.zeros(blocks * _BLOCK, np.float32)
    padded[: len(track)] = track
    return np.asarray(fft.rfft(padded.reshape(blocks, _BLOCK), 2 * _BLOCK, axis=1), np.complex64)


def _heard(kit: Kit, mic: Microphone, spectra: dict[str, _Spectra], frames: int, seed: int) -> Floats:
    blocks = len(next(iter(spectra.values())))
    out = np.zeros((blocks + 1) * _BLOCK, np.float32)
    answers = {name: answer(kit, kit.drum(name), mic) for name in spectra}
    for block in range(blocks):
        summed = np.zeros(_BLOCK + 1, np.complex64)
        for name in spectra:
            summed += spectra[name][block] * answers[name]
        out[block * _BLOCK : (block + 2) * _BLOCK] += fft.irfft(summed, 2 * _BLOCK)
    track = out[_LEAD : _LEAD + frames]
    track *= np.float32(10 ** (_PEAKS_DBFS[_kind(mic)] / 20) * _gain(kit, mic, set(spectra), track))
    hiss = np.random.default_rng(seed).standard_normal(frames, np.float32)
    return track + hiss * np.float32(10 ** (_HISS_DBFS / 20))


def _gain(kit: Kit, mic: Microphone, played: set[str], track: Floats) -> float:
    """To a peak of 1; of a drum that is never struck, as its loudest stroke would ask for."""
    if mic.drum is None or mic.drum in played:
        return 1 / max(float(np.abs(track).max()), 1e-9)
    return max(float(np.linalg.norm(np.subtract(kit.drum(mic.drum).at_m, mic.at_m))), 0.05)


def _kind(mic: Microphone) -> str:
    if mic.drum:
        return "close"
    return "over" if mic.name.startswith("OH") else "room"


@lru_cache(maxsize=600)
def answer(kit: Kit, drum: Drum, mic: Microphone) -> _Spectra:
    """What a microphone hears of an impulse at a drum, as a spectrum of two blocks."""
    lowered = 1 / (1 + (_HZ / 19_500) ** 12)
    sign, at, own = _sign(mic, drum), np.array(drum.at_m), np.array(mic.at_m)
    direct_m = max(float(np.linalg.norm(own - at)), 0.03)
    found = _path(direct_m, _axis_gain(kit, mic, at), _dullness(mic, drum)) * sign
    for image in _images(at, kit.room_m):
        found = found + sign * _WALL * _path(float(np.linalg.norm(own - image)), 0.7, 6_000.0)
    tail = _tail(kit, drum, mic)
    return np.asarray(found * lowered + tail, np.complex64)


def _path(length_m: float, gain: float, dull_hz: float) -> npt.NDArray[np.complex128]:
    delay_s = length_m / SPEED_OF_SOUND_M_S + _LEAD / RATE_HZ
    shape = gain / max(length_m, 0.05) / (1 + 1j * _HZ / dull_hz)
    return np.asarray(shape * np.exp(-2j * np.pi * _HZ * delay_s))


def _sign(mic: Microphone, drum: Drum) -> float:
    """A stick drives its head away: less pressure on its side, more behind the other head."""
    kind = "open" if drum.name == "hat" else drum.name
    own = mic.drum in (drum.name, kind)
    return -1.0 if own and mic.opposite_head else 1.0


def _axis_gain(kit: Kit, mic: Microphone, at: Doubles) -> float:
    """A heart-shaped pattern for close microphones, pointing at their own drum."""
    if mic.drum is None:
        return 1.0
    axis = np.array(kit.drum(mic.drum).at_m) - np.array(mic.at_m)
    towards = at - np.array(mic.at_m)
    cosine = float(axis @ towards / (np.linalg.norm(axis) * np.linalg.norm(towards) + 1e-9))
    return _BEHIND + (1 - _BEHIND) * (0.5 + 0.5 * cosine)


def _dullness(mic: Microphone, drum: Drum) -> float:
    own = mic.drum == drum.name or (mic.drum == "hat" and drum.name == "open")
    return 16_000.0 if own or mic.drum is None else 7_000.0


def _images(at: Doubles, room_m: tuple[float, float, float]) -> list[Doubles]:
    """Mirror images of a drum; the stool stands in the middle of the width, a metre and a half from the back wall."""
    walls = ((0, -room_m[0] / 2), (0, room_m[0] / 2), (1, -1.5), (1, room_m[1] - 1.5), (2, 0.0), (2, room_m[2]))
    images = []
    for axis, wall in walls:
        image = at.copy()
        image[axis] = 2 * wall - image[axis]
        images.append(image)
    return images


def _tail(kit: Kit, drum: Drum, mic: Microphone) -> npt.NDArray[np.complex128]:
    """Noise of its own for each pair, decaying by 60 dB in the room's time, after the first reflections."""
    rng = np.random.default_rng([kit.seed, *(ord(letter) for letter in drum.name + mic.name)])
    time = np.arange(_BLOCK - _LEAD) / RATE_HZ
    noise = rng.standard_normal(len(time)) * np.exp(-6.9 * time / kit.tail_s) * (time > 0.012)
    smooth = (noise[1:] + noise[:-1]) / 2
    loud = _TAIL * (0.5 if mic.drum else 1.0)
    return np.fft.rfft(np.pad(smooth * loud * 0.3, (_LEAD, 0)), 2 * _BLOCK)
