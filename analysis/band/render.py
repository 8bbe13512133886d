"""From a score to sound: stems or a mix as arrays, and files at any rate and depth."""

from __future__ import annotations

import zlib
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import soundfile

from analysis.band.drumkit import KIT, KIT_PAN
from analysis.band.parts import Note
from analysis.band.room import add_hiss, add_room, drive
from analysis.band.score import Score
from analysis.band.tables import Tone
from analysis.band.voices import RELEASE_S, VOICES, Strike
from analysis.core.samples import Floats
from analysis.maps.tempo_map import round_half_up

# Shape (n_frames, 1 or 2), full scale 1.0; inside the room and the mixer one row a side.
Stem = Floats

# House choices: each player's gain, who is in one channel, how much of the room is heard on whom, which sound of the
# strings is driven, who is recorded by microphone (those files carry hiss), versions and steps of loudness of a note,
# and the peak of the mix, about -3 dBFS: room left for the drums to come.
_LEVEL = {"bass": 0.5, "keys": 0.2, "strings": 0.2, "pad": 0.11, "lead": 0.42, "drums": 0.8, "click": 0.5}
_MONO = {"bass", "lead", "click"}
_WET = {"keys": 0.10, "strings": 0.14, "pad": 0.25, "lead": 0.16, "drums": 0.12}
_DRIVEN = "driven"
_LIVE = {"strings", "lead", "drums"}
_TAKES = 3
_VELOCITY_STEPS = 10
MIX_PEAK = 0.7


@dataclass(frozen=True)
class _Layout:
    """How a player's notes are turned into frames."""

    player: str
    sample_rate_hz: int
    frames: int
    seconds_per_beat: float
    keys_sound: str
    strings_sound: str

    def voice_of(self, note: Note) -> str:
        if note.sound:
            return note.sound
        strings = "steel" if self.strings_sound == _DRIVEN else self.strings_sound
        return {"keys": self.keys_sound, "strings": strings}.get(self.player, self.player)


def render_stems(score: Score, sample_rate_hz: int) -> dict[str, Stem]:
    """One array a player, all equally long; their sum peaks at `MIX_PEAK`.

    Returns
    -------
    dict of str to float32 array, shape (n_frames, 1 or 2)
        A mono stem counts fully on both sides of the mix.
    """
    frames = round(score.duration_s * sample_rate_hz)
    stems = {player: _render_part(score, player, sample_rate_hz, frames) for player in score.notes}
    gain = np.float32(MIX_PEAK / max(float(np.abs(mix_stems(stems)).max()), 1e-9))
    return {player: stem * gain for player, stem in stems.items()}


def mix_stems(stems: dict[str, Stem]) -> Stem:
    """The plain sum.

    Parameters
    ----------
    stems : dict of str to float32 array, shape (n_frames, 1 or 2)
        At least one; a shorter one ends earlier.

    Returns
    -------
    float32 array, shape (n_frames of the longest, 2)
    """
    mix = np.zeros((max(len(stem) for stem in stems.values()), 2), np.float32)
    for stem in stems.values():
        mix[: len(stem)] += stem
    return mix


def render_mix(score: Score, sample_rate_hz: int) -> Stem:
    """The sum of all stems: float32 array, shape (n_frames, 2), peak `MIX_PEAK`."""
    return mix_stems(render_stems(score, sample_rate_hz))


def write_wav(path: Path, samples: Stem, sample_rate_hz: int, *, depth: str = "PCM_24") -> Path:
    """Write samples by soundfile; the folder is made when missing.

    Parameters
    ----------
    path : Path
        The suffix decides the container.
    samples : float32 array, shape (n_frames, n_channels)
        Full scale is 1.0.
    sample_rate_hz : int
    depth : str
        A subtype that soundfile knows.
    """
    path.parent.mkdir(parents=True, exist_ok=True)
    soundfile.write(path, samples, sample_rate_hz, subtype=depth)
    return path


def _render_part(score: Score, player: str, sample_rate_hz: int, frames: int) -> Stem:
    beat_s = float(60 / score.plan.tempo.bpm)
    layout = _Layout(player, sample_rate_hz, frames, beat_s, score.plan.keys_sound, score.plan.strings_sound)
    sides = np.zeros((1 if player in _MONO else 2, frames), np.float32)
    _play(layout, score, sides)
    sides *= np.float32(_LEVEL[player])
    if layout.strings_sound == _DRIVEN and player == "strings":
        drive(sides, sample_rate_hz)
    if player in _WET:
        add_room(sides, sample_rate_hz, _WET[player])
    if score.plan.hiss_dbfs is not None and player in _LIVE:
        add_hiss(sides, score.plan.hiss_dbfs, score.plan.seed + len(player))
    return np.ascontiguousarray(sides.T)


def _play(layout: _Layout, score: Score, sides: Stem) -> None:
    cache = _NoteCache(layout.sample_rate_hz)
    starts = _start_frames(layout, score)
    for index, (note, start) in enumerate(zip(score.notes[layout.player], starts, strict=True)):
        length_s = float(note.length_beats) * layout.seconds_per_beat
        tone = cache.tone(layout.voice_of(note), note, length_s, index)
        end = min(start + len(tone), layout.frames)
        if end <= start:
            continue
        for side, gain in enumerate(_pan(layout.player, note, len(sides))):
            sides[side, start:end] += tone[: end - start] * gain


def _start_frames(layout: _Layout, score: Score) -> list[int]:
    """A click falls on the frame nearest to its exact time; other notes where the player puts them."""
    if layout.player == "click":
        return [
            round_half_up(score.clock.time_of_beat(note.beat) * layout.sample_rate_hz) for note in score.notes["click"]
        ]
    return [round(float(start) * layout.sample_rate_hz) for start in score.starts_s[layout.player]]


def _pan(player: str, note: Note, sides: int) -> tuple[np.float32, ...]:
    if sides == 1:
        return (np.float32(1),)
    place = {"drums": KIT_PAN.get(note.sound, 0.0), "keys": (note.pitch - 60) / 60, "strings": 0.25, "pad": 0.0}[player]
    if player == "pad":
        place = 0.4 if note.pitch % 2 else -0.4
    angle = (place + 1) * np.pi / 4
    return np.float32(np.cos(angle) * 2**0.5), np.float32(np.sin(angle) * 2**0.5)


class _NoteCache:
    """Each distinct sound is made once, as long as it was ever needed, and cut with a release."""

    def __init__(self, sample_rate_hz: int) -> None:
        self.rate = sample_rate_hz
        self.tones: dict[tuple[str, int, int, int], Tone] = {}

    def tone(self, voice: str, note: Note, length_s: float, index: int) -> Tone:
        loud = max(1, round(note.velocity * _VELOCITY_STEPS))
        take = zlib.crc32(f"{voice}{note.pitch}{index}".encode()) % _TAKES
        key = (voice, note.pitch, loud, take)
        whole_s = 0.0 if voice not in RELEASE_S else length_s + RELEASE_S[voice]
        made = self.tones.get(key)
        if made is None or len(made) < int(whole_s * self.rate):
            sound = VOICES[voice] if voice in VOICES else KIT[voice]
            made = sound(Strike(note.pitch, loud / _VELOCITY_STEPS, whole_s * 1.25, self.rate, take))
            self.tones[key] = made
        return made if voice not in RELEASE_S else self._cut(made, length_s, RELEASE_S[voice])

    def _cut(self, tone: Tone, length_s: float, release_s: float) -> Tone:
        hold, release = int(length_s * self.rate), int(release_s * self.rate)
        cut = tone[: hold + release].copy()
        tail = cut[hold:]
        tail *= np.linspace(1, 0, len(tail), dtype=np.float32) ** 2
        return cut
