"""What can be wrong inside one file: level, holes, noises, bits, where it comes from, where it ends."""

from __future__ import annotations

import io
from collections.abc import Callable
from dataclasses import replace
from typing import Any

import av
import numpy as np
import soundfile
from av.audio.frame import AudioFrame
from scipy import signal

from analysis.core.samples import Floats
from bench.delivery.damage_tracks import shifted
from bench.delivery.hits import RATE_HZ
from bench.delivery.takes import DrumSet
from bench.delivery.truth import Damage, Maker, Truth

Change = Callable[[Floats, np.random.Generator], Floats]
_PACKET = 1_024


def _one(codes: tuple[str, ...], change: Change, names: tuple[str, ...] = ("SnTop", "KickIn", "OHL", "Hat")) -> Maker:
    """Change one of these tracks."""

    def make(drum_set: DrumSet, rng: np.random.Generator) -> tuple[DrumSet, Truth] | None:
        name = str(rng.choice([one for one in names if one in drum_set.tracks]))
        return drum_set.with_tracks({name: change(drum_set.tracks[name], rng)}), Truth(codes, (name,))

    return make


def _all(codes: tuple[str, ...], change: Change) -> Maker:
    def make(drum_set: DrumSet, rng: np.random.Generator) -> tuple[DrumSet, Truth] | None:
        changed = {name: change(track, rng) for name, track in drum_set.tracks.items()}
        return drum_set.with_tracks(changed), Truth(codes, tuple(changed))

    return make


def _peak(track: Floats) -> float:
    return float(np.abs(track).max())


def _loud_place(track: Floats, rng: np.random.Generator) -> int:
    """Where the track plays: one of its louder places, away from both ends."""
    size = RATE_HZ // 10
    power = (track[: len(track) // size * size].reshape(-1, size) ** 2).mean(axis=1)
    inside = np.arange(20, len(power) - 60)
    loud = inside[power[inside] >= np.quantile(power[inside], 0.9)]
    return int(rng.choice(loud)) * size


def _clipped(track: Floats, _rng: np.random.Generator) -> Floats:
    return np.asarray(np.clip(track * np.float32(2.0 / _peak(track)), -1.0, 1 - 2**-23), np.float32)


def _gapped(track: Floats, rng: np.random.Generator) -> Floats:
    """A quarter of a second of digital silence."""
    at, out = _loud_place(track, rng), track.copy()
    out[at : at + RATE_HZ // 4] = 0
    return out


def _dropouts(track: Floats, rng: np.random.Generator) -> Floats:
    """Five buffers of 256 frames were lost."""
    out = track.copy()
    for _ in range(5):
        at = _loud_place(track, rng) + int(rng.integers(0, 2_000))
        out[at : at + 256] = 0
    return out


def _repeated(track: Floats, rng: np.random.Generator) -> Floats:
    """Three seconds stand there twice, with a fade of 10 ms at both ends."""
    length, fade = 3 * RATE_HZ, RATE_HZ // 100
    at = _loud_place(track[: len(track) - 2 * length], rng)
    out, ramp = track.copy(), np.ones(length, np.float32)
    ramp[:fade], ramp[-fade:] = np.linspace(0, 1, fade), np.linspace(1, 0, fade)
    place = slice(at + length, at + 2 * length)
    out[place] = ramp * track[at : at + length] + (1 - ramp) * track[place]
    return out


def _hum(track: Floats, _rng: np.random.Generator) -> Floats:
    time = np.arange(len(track)) / RATE_HZ
    hum = sum(level * np.sin(2 * np.pi * 50 * order * time) for order, level in ((1, 1.0), (2, 0.5), (3, 0.6)))
    return np.asarray(track + 10 ** (-42 / 20) * hum, np.float32)


def _offset(track: Floats, _rng: np.random.Generator) -> Floats:
    return track + np.float32(0.01)


def _noisy(track: Floats, rng: np.random.Generator) -> Floats:
    return track + rng.standard_normal(len(track), np.float32) * np.float32(10 ** (-42 / 20))


def _padded_bits(track: Floats, _rng: np.random.Generator) -> Floats:
    return np.asarray(np.rint(track * 2**15) / 2**15, np.float32)


def _dithered_bits(track: Floats, rng: np.random.Generator) -> Floats:
    """Sixteen bits with triangular dither, then turned down a little, as a mixer would: no bit is zero any more."""
    dither = rng.random(len(track)) - rng.random(len(track))
    return np.asarray(0.8 * np.rint(track * 2**15 + dither) / 2**15, np.float32)


def _through_mp3(track: Floats, _rng: np.random.Generator) -> Floats:
    stored = io.BytesIO()
    soundfile.write(stored, track, RATE_HZ, format="MP3", bitrate_mode="CONSTANT", compression_level=0.6)
    stored.seek(0)
    decoded, _ = soundfile.read(stored, dtype="float32")
    return _laid_on(decoded, track)


def _through_aac(track: Floats, _rng: np.random.Generator) -> Floats:
    stored = io.BytesIO()
    with av.open(stored, "w", format="adts") as container:
        stream: Any = container.add_stream("aac", rate=RATE_HZ, layout="mono", format="fltp")
        stream.bit_rate = 96_000
        for start in range(0, len(track), _PACKET):
            piece = np.ascontiguousarray(track[None, start : start + _PACKET])
            frame = AudioFrame.from_ndarray(piece, format="fltp", layout="mono")
            frame.sample_rate, frame.pts = RATE_HZ, start
            container.mux(stream.encode(frame))
        container.mux(stream.encode(None))
    stored.seek(0)
    with av.open(stored, "r") as container:
        parts = [frame.to_ndarray()[0] for frame in container.decode(audio=0)]
    return _laid_on(np.concatenate(parts).astype(np.float32), track)


def _laid_on(decoded: Floats, track: Floats) -> Floats:
    """Put back to where it was, as somebody does who lines it up by eye: the codec's delay is no part of this."""
    size = min(len(decoded), len(track), 20 * RATE_HZ)
    found = signal.correlate(decoded[:size], track[:size], "full")
    lag = int(np.argmax(found)) - (size - 1)
    padded = np.pad(shifted(decoded, -lag), (0, max(0, len(track) - len(decoded))))
    return np.asarray(padded[: len(track)], np.float32)


def _clicking_edit(track: Floats, rng: np.random.Generator) -> Floats:
    """A cut without a fade: what follows is moved by some milliseconds, and the wave jumps."""
    out = track.copy()
    for _ in range(3):
        at = _loud_place(track, rng)
        near = np.abs(track[at : at + RATE_HZ // 20])
        at += int(np.argmax(near)) + 1
        out[at:] = np.concatenate([out[at + 400 :], np.zeros(400, np.float32)])
        out[at] = -out[at - 1] if abs(out[at - 1]) > 0.02 else out[at]
    return out


def _cut_tail(drum_set: DrumSet, _rng: np.random.Generator) -> tuple[DrumSet, Truth] | None:
    """All files end while the last stroke still rings."""
    last = round(drum_set.strokes[-1].time_s * RATE_HZ) + round(0.25 * RATE_HZ)
    return drum_set.with_tracks({name: track[:last] for name, track in drum_set.tracks.items()}), Truth(("tail",))


def _short(frames: int) -> Maker:
    def make(drum_set: DrumSet, rng: np.random.Generator) -> tuple[DrumSet, Truth] | None:
        name = str(rng.choice(list(drum_set.tracks)))
        track = drum_set.tracks[name]
        truth = Truth(("length",), (name,), {"length": (len(track) - frames, 0)}, f"{frames} frame short")
        return drum_set.with_tracks({name: track[:-frames]}), truth

    return make


def _dual_mono(drum_set: DrumSet, _rng: np.random.Generator) -> tuple[DrumSet, Truth] | None:
    """A stereo file of overheads whose sides are one microphone."""
    tracks = {name: track for name, track in drum_set.tracks.items() if name not in ("OHL", "OHR")}
    left = drum_set.tracks["OHL"]
    both = {"OH": np.stack([left, left], axis=1)}
    return replace(drum_set, tracks=tracks | both), Truth(("channels",), ("OH",))


def _depth(drum_set: DrumSet, rng: np.random.Generator) -> tuple[DrumSet, Truth] | None:
    name = str(rng.choice(list(drum_set.tracks)))
    return replace(drum_set, subtypes={name: "PCM_16"}), Truth(("depth",), (name,), {"depth": (16, 0)}, "16 bits")


FILE_DAMAGES = (
    Damage("one frame short", _short(1)),
    Damage("one file in 16 bits", _depth),
    Damage("clipped", _one(("clipped",), _clipped)),
    Damage("silent", _one(("sounding",), lambda track, _: np.zeros_like(track))),
    Damage("a gap of 250 ms", _one(("gaps", "dropouts"), _gapped)),
    Damage("dropped buffers", _one(("dropouts", "gaps"), _dropouts)),
    Damage("three seconds repeated", _one(("repeats", "arrival"), _repeated)),
    Damage("hum at 50 Hz", _one(("hum",), _hum)),
    Damage("an offset of 1 %", _one(("dc",), _offset)),
    Damage("noise at -42 dBFS", _one(("noise",), _noisy, ("SnTop", "Hat", "Tom1"))),
    Damage("16 bits padded to 24", _all(("bits",), _padded_bits)),
    Damage("one track of 16 bits, dithered, in 24", _one(("bits",), _dithered_bits)),
    Damage("one track that was an MP3", _one(("lossy-origin",), _through_mp3, ("OHL", "Hat", "SnTop"))),
    Damage("all tracks that were AAC", _all(("lossy-origin",), _through_aac)),
    Damage("edits that click", _one(("edits", "arrival"), _clicking_edit, ("SnTop", "KickIn", "Floor1"))),
    Damage("the tail cut", _cut_tail),
    Damage("dual mono", _dual_mono),
)
