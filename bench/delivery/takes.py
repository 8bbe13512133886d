"""Whole deliveries: a take's tracks, the rough mix that was accepted, the client's music and the click.

Everything follows from a `Plan` and its seed; `make` renders it.
"""

from __future__ import annotations

import hashlib
import json
import pickle
from dataclasses import dataclass, field, replace
from fractions import Fraction
from pathlib import Path
from typing import Any

import numpy as np
import soundfile
from scipy import signal

from analysis.core.samples import Floats
from analysis.maps.tempo_map import MeterSign, Segment, TempoMap
from bench.delivery.hits import RATE_HZ
from bench.delivery.kits import KITS, Kit
from bench.delivery.microphones import dry_tracks, record
from bench.delivery.players import Player, Stroke, play

_SOURCES = ("kits", "hits", "players", "microphones", "sampled", "takes")
_TAIL_S = 3.0
# Gains and places of tracks in the rough mix (1 is right), and what the mixer turns over (D-24).
_PANS = {"Hat": 0.3, "Tom1": 0.2, "Tom2": -0.1, "Floor1": -0.4, "Ride": -0.4, "OHL": -0.9, "OHR": 0.9, "RmL": -1.0}
_MIX_PEAK = 0.7


@dataclass(frozen=True)
class Plan:
    """What is to be made. `tempos`: from which bar, how many BPM, in which meter; `font`: the sound font whose strokes
    are played instead of made ones."""

    kit: str
    pattern: str
    player: Player
    tempos: tuple[tuple[int, str, str], ...]
    bars: int
    seed: int
    bar_one_s: Fraction = Fraction(2)
    music_in_mix: bool = False
    font: str = ""

    @property
    def tempo_map(self) -> TempoMap:
        segments: list[Segment] = []
        for bar, bpm, meter in self.tempos:
            start_s = self.bar_one_s
            if segments:
                start_s = segments[-1].time_s + (bar - segments[-1].bar) * segments[-1].bar_s
            segments.append(Segment(bar, start_s, Fraction(bpm), MeterSign.parse(meter)))
        return TempoMap(tuple(segments))

    @property
    def frames(self) -> int:
        return round((float(self.tempo_map.time_of_bar(self.bars + 1)) + _TAIL_S) * RATE_HZ)


@dataclass(frozen=True)
class DrumSet:
    """One delivery. Tracks are float32 of shape (frames,) or (frames, 2); mix and music (frames, 2)."""

    plan: Plan
    tempo_map: TempoMap
    tracks: dict[str, Floats]
    mix: Floats
    music: Floats
    click: Floats
    strokes: tuple[Stroke, ...]
    rates_hz: dict[str, int] = field(default_factory=dict)
    subtypes: dict[str, str] = field(default_factory=dict)

    @property
    def kit(self) -> Kit:
        return KITS[self.plan.kit]

    def with_tracks(self, tracks: dict[str, Floats]) -> DrumSet:
        return replace(self, tracks=self.tracks | tracks)


@dataclass(frozen=True)
class Written:
    tracks: list[Path]
    mix: Path
    music: Path
    map: Path


def kept(plan: Plan, folder: Path) -> DrumSet:
    """As `make` gives it, from the folder where it was made before by the same code."""
    code = b"".join(path.read_bytes() for path in sorted(Path(__file__).parent.glob("*.py")) if path.stem in _SOURCES)
    path = folder / f"{hashlib.sha256(code + repr(plan).encode()).hexdigest()[:24]}.pickle"
    if not path.exists():
        folder.mkdir(parents=True, exist_ok=True)
        path.with_suffix(".part").write_bytes(pickle.dumps(make(plan), protocol=5))
        path.with_suffix(".part").rename(path)
    drum_set: DrumSet = pickle.loads(path.read_bytes())  # noqa: S301 - our own file
    return drum_set


def make(plan: Plan) -> DrumSet:
    kit, rng = KITS[plan.kit], np.random.default_rng(plan.seed)
    drums = {drum.name for drum in kit.drums}
    strokes = play(plan.tempo_map, plan.bars, plan.pattern, plan.player, rng, drums=drums)
    tracks = record(
        kit, dry_tracks(kit, strokes, plan.frames, plan.player, plan.seed, font=plan.font), 1_000 * plan.seed
    )
    music = client_music(plan)
    mix = rough_mix(tracks, np.random.default_rng([plan.seed, 2]))
    if plan.music_in_mix:
        mix = mix * np.float32(0.6) + music * np.float32(0.5)
    return DrumSet(plan, plan.tempo_map, tracks, mix, music, click_sound(plan), tuple(strokes))


def rough_mix(tracks: dict[str, Floats], rng: np.random.Generator) -> Floats:
    """Gains, places, a tilt for each track, the bottom microphone turned over, and a little compression."""
    mix = np.zeros((len(next(iter(tracks.values()))), 2), np.float32)
    for name, track in tracks.items():
        gain = 10 ** (rng.uniform(-9, 0) / 20) * (-1 if name == "SnBot" else 1)
        place = _PANS.get(name, 1.0 if name == "RmR" else 0.0)
        shaped = np.float32(gain) * _tilted(track, rng.uniform(-5, 5), rng.uniform(300, 3_000))
        mix[:, 0] += shaped * np.float32(np.sqrt((1 - place) / 2))
        mix[:, 1] += shaped * np.float32(np.sqrt((1 + place) / 2))
    return _compressed(mix * np.float32(_MIX_PEAK / np.abs(mix).max()))


def _tilted(track: Floats, treble_db: float, hz: float) -> Floats:
    """A shelf: treble above `hz` by so many dB."""
    low = signal.lfilter(*signal.butter(1, hz, fs=RATE_HZ), track).astype(np.float32)
    return np.asarray(low + (track - low) * np.float32(10 ** (treble_db / 20)), np.float32)


def _compressed(mix: Floats) -> Floats:
    """Two to one above -16 dBFS, with 60 ms of release."""
    level = np.abs(mix).max(axis=1)
    held = signal.lfilter([1 - 0.9997], [1, -0.9997], level) * 3
    gain = np.minimum(1.0, np.sqrt(10 ** (-16 / 20) / np.maximum(np.maximum(held, 1e-6), 10 ** (-16 / 20))))
    return np.asarray(mix * gain[:, None], np.float32)


def client_music(plan: Plan) -> Floats:
    """Bass and chords on the map, as loud as mixes without drums are: what the client sent."""
    rng, tempo_map = np.random.default_rng([plan.seed, 3]), plan.tempo_map
    out = np.zeros((plan.frames + 4 * RATE_HZ, 2), np.float32)
    for bar in range(1, plan.bars + 1):
        segment = tempo_map.segment_at_bar(bar)
        root_hz = 55 * 2 ** (int(rng.choice([0, 3, 5, 7, 10])) / 12)
        for beat in range(segment.meter.beats_per_bar):
            at, length_s = tempo_map.frame_of_bar(bar, RATE_HZ, beat), float(segment.beat_s)
            _lay(out, at, _note(root_hz, 0.9 * length_s, 5) * 0.22, 0.5)
            for ratio in (4, 5, 6) if beat % 2 == 0 else ():
                _lay(out, at, _note(root_hz * ratio, 1.8 * length_s, 3) * 0.05, 0.3 + 0.1 * ratio / 6)
    return out[: plan.frames]


def _note(hz: float, length_s: float, harmonics: int) -> Floats:
    time = np.arange(int(length_s * RATE_HZ)) / RATE_HZ
    tone = sum(np.sin(2 * np.pi * hz * order * time) / order**1.3 for order in range(1, harmonics + 1))
    shape = np.minimum(time / 0.008, 1) * np.exp(-time / 0.5) * np.minimum((time[-1] - time) / 0.02, 1)
    return np.asarray(tone * shape, np.float32)


def _lay(out: Floats, at: int, sound: Floats, right: float) -> None:
    part = out[at : at + len(sound)]
    part += sound[: len(part), None] * np.array([1 - right, right], np.float32) * np.float32(1.6)


def click_sound(plan: Plan) -> Floats:
    """One click a beat, the first of each bar higher: float32, (frames,), peak 0.5."""
    time = np.arange(int(0.05 * RATE_HZ)) / RATE_HZ
    high, low = (np.asarray(np.sin(2 * np.pi * hz * time) * np.exp(-time / 0.01), np.float32) for hz in (1_600, 1_000))
    out, tempo_map = np.zeros(plan.frames + len(time), np.float32), plan.tempo_map
    for bar in range(1, plan.bars + 1):
        for beat in range(tempo_map.segment_at_bar(bar).meter.beats_per_bar):
            at = tempo_map.frame_of_bar(bar, RATE_HZ, beat)
            out[at : at + len(time)] += high if beat == 0 else low
    return np.asarray(out[: plan.frames] * np.float32(0.5 / np.abs(out).max()), np.float32)


def write(drum_set: DrumSet, folder: Path) -> Written:
    """The tracks alone in `folder/tracks`; the mix, the client's music and the map beside it."""
    tracks = folder / "tracks"
    tracks.mkdir(parents=True, exist_ok=True)
    for old in tracks.iterdir():
        old.unlink()
    paths = []
    for name, samples in sorted(drum_set.tracks.items()):
        rate_hz, subtype = drum_set.rates_hz.get(name, RATE_HZ), drum_set.subtypes.get(name, "PCM_24")
        paths.append(_write(tracks / f"{name}.wav", samples, rate_hz, subtype))
    mix = _write(folder / "rough mix.wav", drum_set.mix, RATE_HZ, "PCM_24")
    music = _write(folder / "music.wav", drum_set.music, RATE_HZ, "PCM_24")
    map_path = folder / "map.json"
    map_path.write_text(json.dumps(drum_set.tempo_map.to_json()))
    return Written(paths, mix, music, map_path)


def _write(path: Path, samples: Floats, rate_hz: int, subtype: str, **options: Any) -> Path:
    soundfile.write(path, samples, rate_hz, subtype=subtype, **options)
    return path
