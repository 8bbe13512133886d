"""From notes to sound: stems or one mix, with human timing, saturation and a room drawn for each song."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from scipy.signal import oaconvolve

from analysis.core.samples import Floats
from bench.form.arrangements import Arrangement
from bench.form.parts import Note, beat_times_s, first_beats, seconds_at, write_notes
from bench.form.sounds import Voice, draw_kit, draw_voice, sound

RATE_HZ = 44_100
RING_S = 1.5
# House choices: each player's level in dB and how far it may be off, what is driven, the mix's peak.
LEVEL_DB = {"bass": -6.0, "keys": -14.0, "guitar": -14.0, "pad": -19.0, "lead": -8.0, "second": -16.0, "drums": -4.0}
LEVEL_SPREAD_DB = 2.5
PEAK = 0.7


def render(song: Arrangement) -> dict[str, Floats]:
    """One array a player, shape (n_frames,), all equally long; a song of one mix has only `mix`."""
    rng = np.random.default_rng((song.seed, 11))
    times_s = beat_times_s(song)
    notes = write_notes(song)
    end_s = float(seconds_at(song, times_s, first_beats(song)[-1]))
    frames = int((end_s + RING_S) * RATE_HZ)
    players = sorted({note.player for note in notes})
    stems = {}
    for player in players:
        own = [note for note in notes if note.player == player]
        stems[player] = _room(rng, _play(song, player, own, times_s, frames, rng), song)
    whole = sum(stems.values())
    gain = _fade(song, times_s, frames) * np.float32(PEAK / np.abs(whole).max())
    if song.stems:
        return {player: stem * gain for player, stem in stems.items()}
    return {"mix": _saturated(np.asarray(whole * gain / PEAK), float(rng.uniform(0.2, 2.0))) * np.float32(PEAK)}


def _play(
    song: Arrangement, player: str, notes: list[Note], times_s: np.ndarray, frames: int, rng: np.random.Generator
) -> Floats:
    mono = np.zeros(frames, np.float32)
    late_s = float(rng.normal(0, song.looseness_s / 2))
    level_db = LEVEL_DB[player] + float(rng.normal(0, LEVEL_SPREAD_DB))
    kit = draw_kit(rng, RATE_HZ) if player == "drums" else {}
    voice = None if kit else _noisier(draw_voice(rng, player), song.noise if player != "bass" else 0.0)
    starts = seconds_at(song, times_s, np.array([note.beat for note in notes]))
    ends = seconds_at(song, times_s, np.array([note.beat + note.beats for note in notes]))
    jitter: dict[float, float] = {}
    for note, start_s, end_s in zip(notes, starts, ends, strict=True):
        shift = jitter.setdefault(note.beat, float(rng.normal(late_s, song.looseness_s)))
        gain = 10 ** ((note.gain_db + level_db) / 20)
        tone = (
            kit[note.sound] * np.float32(gain)
            if voice is None
            else sound(voice, note.pitch, float(end_s - start_s), gain, RATE_HZ, rng)
        )
        first = max(0, int((start_s + shift) * RATE_HZ))
        tone = tone[: max(0, frames - first)]
        mono[first : first + len(tone)] += tone
    if player in ("guitar", "second") and rng.random() < 0.4:
        mono = _saturated(mono, float(rng.uniform(2, 8)))
    return mono


def _noisier(voice: Voice, noise: float) -> Voice:
    return replace(voice, noise=voice.noise + noise)


def _saturated(samples: Floats, drive: float) -> Floats:
    peak = float(np.abs(samples).max()) or 1.0
    return np.asarray(np.tanh(samples / peak * drive) / np.tanh(drive) * peak, np.float32)


def _room(rng: np.random.Generator, dry: Floats, song: Arrangement) -> Floats:
    """A short or longer tail of noise, the same for the song; each player has its own share of it."""
    own = np.random.default_rng((song.seed, 13))
    seconds, wet = float(own.uniform(0.15, 0.9)), float(rng.uniform(0.02, 0.14))
    time = np.arange(int(seconds * RATE_HZ * 1.5)) / RATE_HZ
    tail = own.normal(0, 1, len(time)) * np.exp(-4.5 * time / seconds)
    tail = (tail / np.sqrt((tail**2).sum())).astype(np.float32)
    return np.asarray(dry + np.float32(wet * 4) * oaconvolve(dry, tail)[: len(dry)], np.float32)


def _fade(song: Arrangement, times_s: np.ndarray, frames: int) -> Floats:
    """A fade over the last bars; a song without an ending is cut at its last bar line."""
    gain = np.ones(frames, np.float32)
    starts = first_beats(song)
    end = int(float(seconds_at(song, times_s, starts[-1])) * RATE_HZ)
    if song.ending == "fade":
        first = int(float(seconds_at(song, times_s, starts[-1 - min(6, len(song.bars) // 3)])) * RATE_HZ)
        gain[first:end] = 10 ** (np.linspace(0, -45, end - first) / 20)
        gain[end:] = 0
    elif song.ending == "none":
        short = int(0.05 * RATE_HZ)
        gain[end : end + short] = np.linspace(1, 0, min(short, frames - end))
        gain[end + short :] = 0
    return gain
