"""Write practice songs for fitting: random but playable band parts with known tempo, beats, bars and bar one.

usage: python -m bench.tempo.practice_songs OUT --font FONT.sf2 [--font ...] [--seed N] [--songs N]

Needs the program fluidsynth and a General MIDI sound font. The manifest has one JSON object a line, in the form that
`bench.tempo.fit_choice` reads: id, files, group, style, meter, bpm of the felt beat, beats, downbeats, bar1, and so on.
"""

from __future__ import annotations

import argparse
import json
import subprocess
import tempfile
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import mido
import numpy as np
import soundfile as sf

from bench.tempo.practice_parts import DRUM_PARTS, METERS, PARTS, Part, Style
from bench.tempo.practice_riffs import draw_parts

TICKS_PER_SECOND = 10_000
SECONDS = 45
DRUM_CHANNEL = 9
CHORDS = ([0, 4, 7], [2, 5, 9], [4, 7, 11], [5, 9, 0], [7, 11, 2], [9, 0, 4])
LOOPS = (
    (0, 5, 3, 4),
    (5, 3, 0, 4),
    (0, 4),
    (0, 3, 4, 3),
    (1, 4, 0, 0),
    (0, 2, 3, 4),
    (5, 4, 3, 4),
    (0, 0, 3, 4),
    (5, 0),
)


@dataclass
class Note:
    beat: float
    length: float
    channel: int
    pitch: int
    velocity: int


@dataclass
class Song:
    """A written song: notes in felt beats from bar one, programs by channel, and what is true of it."""

    style: Style
    bpm: float
    bars: int
    notes: list[Note] = field(default_factory=list)
    programs: dict[int, int] = field(default_factory=dict)
    has_drums: bool = False
    pickup: float = 0.0
    count_in: int = 0


def write_song(rng: np.random.Generator) -> Song:
    """Draw a style, a tempo that suits it, a harmonic rhythm and three to five parts."""
    style = METERS[rng.choice(len(METERS), p=[meter.share for meter in METERS])]
    bpm = float(round(rng.uniform(*style.bpm), 0 if rng.random() < 0.6 else 2))
    bars = int(SECONDS * bpm / 60 / style.beats / 4) * 4 + int(rng.integers(0, 4))
    song = Song(style, bpm, max(bars, 8))
    chords = harmony(rng, style, song.bars)
    drawn = draw_parts(rng, style)
    for channel, part in enumerate(drawn or _common_parts(rng, style), 1):
        play(rng, song, part, channel, chords)
    if rng.random() < (0.2 if drawn else 0.6):
        _tune(rng, song, chords)
    if rng.random() < (0.2 if drawn else 0.35):
        drums = [part for part in DRUM_PARTS if style.name in part.styles]
        song.has_drums = bool(drums)
        if drums:
            play(rng, song, drums[rng.integers(len(drums))], DRUM_CHANNEL, chords)
    _opening(rng, song)
    return song


def _common_parts(rng: np.random.Generator, style: Style) -> list[Part]:
    """Bass and some of the other kinds of part that the style knows."""
    fitting = [part for part in PARTS if style.name in part.styles]
    found: list[Part] = []
    for kind in sorted({part.kind for part in fitting}):
        if kind == "bass" or rng.random() < 0.62:
            choices = [part for part in fitting if part.kind == kind]
            found.append(choices[rng.integers(len(choices))])
    return found


def harmony(rng: np.random.Generator, style: Style, bars: int) -> list[list[int]]:
    """A chord for every half bar (whole bars in odd meters): pitch classes, root first."""
    key = int(rng.integers(12))
    parts = 2 if style.beats % 2 == 0 else 1
    hold = int(rng.choice([1, parts, parts, parts, 2 * parts, 2 * parts]))
    loops = [LOOPS[rng.integers(len(LOOPS))] for _ in range(2)]
    chords = []
    for part in range(bars * parts + 4 * parts):
        loop = loops[part // (8 * parts) % 2]
        chord = CHORDS[loop[part // hold % len(loop)]]
        chords.append([(tone + key) % 12 for tone in chord])
    return chords


def _chord_at(song: Song, chords: list[list[int]], beat: float) -> list[int]:
    parts = 2 if song.style.beats % 2 == 0 else 1
    return chords[min(len(chords) - 1, max(0, int((beat + 1e-6) / song.style.beats * parts)))]


def play(rng: np.random.Generator, song: Song, part: Part, channel: int, chords: list[list[int]]) -> None:
    """Repeat a part's bars; now and then leave a note out, push a chord, or rest for a section."""
    song.programs[channel] = int(rng.choice(part.programs))
    beats, lacks = song.style.beats, rng.uniform(0, 0.12)
    enters = int(rng.choice([0, 0, 0, 0, 4, 8])) if part.kind not in ("bass", "comp") else 0
    pushes = part.kind == "comp" and rng.random() < 0.15
    for bar in range(enters, song.bars):
        if part.kind in ("pad", "arp") and bar % 16 >= 12 and rng.random() < 0.1:
            continue
        for at, what, length, velocity in part.bars[bar % len(part.bars)]:
            if rng.random() < lacks and at > 0:
                continue
            beat = bar * beats + at
            chord = _chord_at(song, chords, beat + (0.5 if pushes and at % 1 == 0.5 else 0))
            song.notes += [Note(beat, length, channel, pitch, velocity) for pitch in _pitches(what, chord, rng)]


def _pitches(what: Any, chord: list[int], rng: np.random.Generator) -> list[int]:
    if isinstance(what, int):
        return [what]  # a drum
    names = {
        "root": [28 + (chord[0] - 4) % 12],
        "fifth": [28 + (chord[2] - 4) % 12],
        "octave": [40 + (chord[0] - 4) % 12],
        "walk": [28 + (int(rng.choice(chord)) - 4) % 12],
        "chord": [52 + (tone - 4) % 12 for tone in chord],
        "power": [40 + (chord[0] - 4) % 12, 47 + (chord[0] - 4) % 12],
        "high": [64 + (tone - 4) % 12 for tone in chord],
        "one": [52 + (chord[0] - 4) % 12],
        "two": [52 + (chord[1] - 4) % 12],
        "three": [52 + (chord[2] - 4) % 12],
        "four": [64 + (chord[0] - 4) % 12],
    }
    return names[what]


def _tune(rng: np.random.Generator, song: Song, chords: list[list[int]]) -> None:
    """A lead over two one-bar rhythms, resting now and then."""
    channel = 8
    song.programs[channel] = int(rng.choice([11, 22, 40, 56, 64, 65, 66, 68, 71, 73, 75, 80, 81, 82, 27, 29]))
    third = song.style.thirds
    places = [0, 1 / 3, 2 / 3] if third else [0, 0.25, 0.5, 0.75]
    odds = [0.6, 0.25, 0.4] if third else [0.6, 0.12, 0.4, 0.15]
    rhythms = [
        [
            beat + at
            for beat in range(song.style.beats)
            for at, odd in zip(places, odds, strict=True)
            if rng.random() < odd
        ]
        for _ in range(2)
    ]
    pitch = 70
    for bar in range(song.bars):
        if bar % 8 == 7 or rng.random() < 0.06:
            continue
        for at in rhythms[bar // 2 % 2]:
            beat = bar * song.style.beats + at
            near = [note for note in range(60, 86) if note % 12 in _chord_at(song, chords, beat)]
            pitch = min(near, key=lambda note: abs(note - pitch - rng.normal(0, 4)))
            song.notes.append(Note(beat, float(rng.uniform(0.2, 0.9)), channel, pitch, int(rng.integers(70, 105))))


def _opening(rng: np.random.Generator, song: Song) -> None:
    draw = rng.random()
    if draw < 0.12:
        song.count_in = song.style.beats * int(rng.choice([1, 2]))
        stroke = int(rng.choice([31, 37, 42, 60, 76]))
        song.notes += [Note(-beat, 0.2, DRUM_CHANNEL, stroke, 105) for beat in range(song.count_in, 0, -1)]
    elif draw < 0.3:
        song.pickup = float(rng.choice([0.5, 1, 1, 2])) if not song.style.thirds else 1.0
        channel = 8 if 8 in song.programs else next(iter(song.programs))
        song.notes += [Note(-at, 0.4, channel, 67, 90) for at in np.arange(song.pickup, 0, -0.5)]


def clock(rng: np.random.Generator, song: Song, kind: str) -> Any:
    """Seconds as a function of felt beats."""
    total, bar = song.bars * song.style.beats, song.style.beats
    grid = np.arange(0, total + 8, 1 / 48)
    tempo = np.full(len(grid), song.bpm)
    if kind == "drift":
        swing = np.sin(2 * np.pi * grid / rng.uniform(40, 140) + rng.uniform(0, 6))
        tempo *= 1 + rng.uniform(0.012, 0.035) * swing + rng.uniform(-0.02, 0.02) * grid / total
    if kind == "step":
        at = int(rng.uniform(0.3, 0.7) * song.bars) * bar
        tempo[grid >= at] = round(song.bpm * rng.choice([0.9, 0.93, 0.95, 1.04, 1.06, 1.1]), 1)
    if kind == "rit":
        slow = int(rng.choice([1, 2, 2, 3])) * bar
        tempo *= 1 - rng.uniform(0.2, 0.45) * np.clip((grid - total + slow) / slow, 0, 1)
    seconds = np.concatenate([[0], np.cumsum(60 / 48 / tempo)[:-1]])
    return lambda beat: np.interp(beat, grid, seconds) + np.minimum(beat, 0) * 60 / song.bpm


def perform(
    rng: np.random.Generator, song: Song, font: Path, rate: int, kind: str, *, scatter_s: float | None = None
) -> tuple[Any, dict[str, Any]]:
    """Render the song with human timing, or with a given scatter: samples, and the truth about them."""
    seconds_of = clock(rng, song, kind)
    spread, lead = rng.choice([0.003, 0.005, 0.008, 0.012]), rng.uniform(0.03, 2.5)
    spread = spread if scatter_s is None else scatter_s
    late = rng.normal(0, spread / 2, 16)
    start = lead + max(song.pickup, song.count_in) * 60 / song.bpm
    messages = [(0.0, mido.Message("program_change", channel=ch, program=pr)) for ch, pr in song.programs.items()]
    deviations = []
    for note in song.notes:
        deviation = rng.normal(late[note.channel], spread)
        deviations.append(deviation)
        on = start + float(seconds_of(note.beat)) + deviation
        off = max(on + 0.04, start + float(seconds_of(note.beat + note.length)))
        loud = int(np.clip(note.velocity + rng.normal(0, 6), 1, 127))
        messages.append((on, mido.Message("note_on", channel=note.channel, note=note.pitch, velocity=loud)))
        messages.append((off, mido.Message("note_off", channel=note.channel, note=note.pitch)))
    total, bar = song.bars * song.style.beats, song.style.beats
    samples = render(messages, font, rate, start + float(seconds_of(total)) + 2)
    start += float(np.median(deviations))
    before = start - 60 / song.bpm * np.arange(song.count_in or int(np.ceil(song.pickup)), 0, -1)
    beats = start + seconds_of(np.arange(0, total + 1e-6))
    bpm = song.bpm if kind != "drift" else round(60 * (len(beats) - 1) / (beats[-1] - beats[0]), 3)
    return samples, {
        "constant": kind == "const",
        "kind": kind,
        "bpm": bpm,
        "beats": [*before, *beats],
        "downbeats": list(start + seconds_of(np.arange(0, total + 1e-6, bar))),
        "bar1": start,
        "pickup": song.pickup,
        "countin": song.count_in,
    }


def render(messages: list[tuple[float, Any]], font: Path, rate: int, seconds: float) -> Any:
    """Play (second, message) pairs on fluidsynth: float array, (frames, 2)."""
    file, track, last = mido.MidiFile(ticks_per_beat=TICKS_PER_SECOND), mido.MidiTrack(), 0
    file.tracks.append(track)
    track.append(mido.MetaMessage("set_tempo", tempo=1_000_000))
    for time, message in sorted(messages, key=lambda pair: (pair[0], pair[1].type == "note_on")):
        tick = round(max(time, 0) * TICKS_PER_SECOND)
        track.append(message.copy(time=tick - last))
        last = tick
    with tempfile.TemporaryDirectory() as folder:
        midi, wav = Path(folder) / "song.mid", Path(folder) / "song.wav"
        file.save(midi)
        command = ["fluidsynth", "-niq", "-g", ".5", "-r", str(rate), "-O", "s16", "-F", str(wav), str(font), str(midi)]
        subprocess.run(command, check=True, capture_output=True)
        samples = sf.read(wav, always_2d=True)[0][: int(seconds * rate)]
    return np.pad(samples, ((0, int(seconds * rate) - len(samples)), (0, 0)))


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else None)
    parser.add_argument("out", type=Path)
    parser.add_argument("--font", type=Path, action="append", required=True)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--songs", type=int, default=200)
    options = parser.parse_args()
    (options.out / "audio").mkdir(parents=True, exist_ok=True)
    with (options.out / "manifest.jsonl").open("w") as manifest:
        for number in range(options.songs):
            rng = np.random.default_rng([options.seed, number])
            song = write_song(rng)
            kind = str(rng.choice(["const"] * 7 + ["drift", "step", "rit"]))
            rate, font = int(rng.choice([44_100, 48_000])), options.font[rng.integers(len(options.font))]
            samples, truth = perform(rng, song, font, rate, kind)
            name = f"practice{options.seed}-{number:04d}"
            sf.write(options.out / f"audio/{name}.wav", samples * 0.8 / np.abs(samples).max(), rate, subtype="PCM_16")
            line = {
                "id": name,
                "files": [f"audio/{name}.wav"],
                "sr": rate,
                "dur": len(samples) / rate,
                "cat": "practice",
            }
            about = {"group": name, "style": song.style.name, "drums": song.has_drums, "meter": song.style.meter}
            manifest.write(json.dumps(line | about | truth) + "\n")


if __name__ == "__main__":
    main()
