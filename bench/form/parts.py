"""From an arrangement to notes: what each player and the drummer play in every bar, and when its beats fall."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from analysis.core.samples import Doubles
from bench.form.arrangements import Arrangement, BarPlan, PlannedSection
from bench.form.drum_parts import drum_notes
from bench.form.materials import DYNAMICS_DB, SCALES, Rhythm, Rng, grid_of

TRIAD = (0, 2, 4)
SLOWED_TO = 0.55  # share of the tempo that a ritardando ends at (house choice)


@dataclass(frozen=True)
class Note:
    """`beat` and `beats` count written beats from bar one; `pitch` is a MIDI note, or 0 where `sound` names a drum."""

    player: str
    beat: float
    beats: float
    pitch: int
    gain_db: float
    sound: str = ""


def first_beats(song: Arrangement) -> list[float]:
    """Where each bar begins, in written beats, and where the last one ends."""
    return [0.0, *np.cumsum([bar.beats for bar in song.bars]).tolist()]


def beat_times_s(song: Arrangement) -> Doubles:
    """Seconds of each written beat from two bars before bar one to some bars after the end."""
    rng = np.random.default_rng((song.seed, 3))
    before = 2 * song.meter.beats
    count = before + int(first_beats(song)[-1]) + 4 * song.meter.beats
    tempo = np.ones(count)
    if song.moves:
        sway = np.cumsum(rng.normal(0, 1, count))
        sway = np.convolve(sway, np.ones(24) / 24, "same")
        tempo += song.moves * (sway - sway.mean()) / (np.abs(sway).max() + 1e-9)
    if song.ending == "ritardando":
        slow = int(song.meter.beats * rng.choice([1, 2, 3]))
        end = before + int(first_beats(song)[-2]) + 1
        tempo[end - slow : end] *= np.linspace(1, SLOWED_TO, slow + 1)[1:]
        tempo[end:] *= SLOWED_TO
    beat_s = 60 / song.bpm / song.meter.pulse / tempo
    since_s = np.concatenate([[0.0], np.cumsum(beat_s)])
    times_s: Doubles = since_s - since_s[before] + song.silence_s + _pickup_s(song)
    return times_s


def _pickup_s(song: Arrangement) -> float:
    return 2.5 * 60 / song.bpm if song.pickup else 0.0


def seconds_at(song: Arrangement, times_s: Doubles, beat: float | Doubles) -> Doubles:
    """Seconds of places in written beats from bar one."""
    before = 2 * song.meter.beats
    return np.asarray(np.interp(np.asarray(beat) + before, np.arange(len(times_s)), times_s), np.float64)


def write_notes(song: Arrangement) -> list[Note]:
    rng = np.random.default_rng((song.seed, 5))
    starts = first_beats(song)
    notes: list[Note] = []
    pushed = False
    for number, bar in enumerate(song.bars):
        section = song.sections[bar.section]
        is_last = number == len(song.bars) - 1
        if is_last and song.ending in ("hit", "held", "ritardando"):
            notes += _last_chord(song, section, starts[number])
            continue
        played = _bar_notes(song, section, bar, rng)
        if pushed:
            played = [note for note in played if note.beat > 1e-6 or note.player in ("lead", "drums")]
        following = song.bars[min(number + 1, len(song.bars) - 1)]
        if bar.push:
            played = _pushed(song, bar, following, played)
        pushed = bar.push
        notes += [replace(note, beat=note.beat + starts[number]) for note in played]
    return _pickup(song, notes) if song.pickup else notes


def _bar_notes(song: Arrangement, section: PlannedSection, bar: BarPlan, rng: Rng) -> list[Note]:
    """Notes of one bar, their beats counted from 0 within it."""
    gain_db = DYNAMICS_DB[section.dynamic] + section.ramp_db * bar.index / max(section.bars - 1, 1)
    notes = [note for player in section.players for note in _player_notes(song, section, bar, player, gain_db)]
    if song.drums and _has_drums(section):
        notes += [
            Note("drums", beat - 1, 0.5, 0, gain_db + extra_db, sound)
            for beat, extra_db, sound in drum_notes(song, section, bar, rng)
        ]
    if bar.hits:
        notes = _with_figure(song, section, bar, notes, gain_db)
    if bar.stop:
        notes = _rested(notes, bar.stop[0] - 1)
    return [replace(note, gain_db=note.gain_db + float(rng.normal(0, 0.9))) for note in notes]


def _has_drums(section: PlannedSection) -> bool:
    rng = np.random.default_rng((section.varied, 8))
    return not (section.dynamic == "pp" or (section.name in ("intro", "break") and rng.random() < 0.5))


def chord_step(section: PlannedSection, bar: BarPlan, beat: float) -> int:
    """The scale step that the chord at a beat stands on."""
    material = section.material
    chords = material.chords[bar.index % len(material.chords)]
    if bar.index == section.bars - 1 and bar.index >= len(material.chords):
        chords = material.turnaround
    return [step for at, step in chords if at <= beat + 1e-6][-1]


def pitch_of(song: Arrangement, section: PlannedSection, step: int, base: int) -> int:
    scale = SCALES[song.scale]
    return base + song.key + section.transpose + 12 * (step // 7) + scale[step % 7]


def _chord(song: Arrangement, section: PlannedSection, player: str, step: int) -> list[int]:
    if player == "bass":
        low = pitch_of(song, section, step % 7, 28)
        return [low - 12 if low > 43 else low]
    base = {"keys": 52, "guitar": 45, "pad": 55, "second": 60}[player]
    pitches = [pitch_of(song, section, step + third, base) for third in TRIAD]
    return [pitch - 12 if pitch > base + 17 else pitch for pitch in pitches]


def _player_notes(song: Arrangement, section: PlannedSection, bar: BarPlan, player: str, gain_db: float) -> list[Note]:
    if player == "lead":
        return _tune_notes(song, section, bar, gain_db)
    notes = []
    single = player == "guitar" and len(section.material.rhythms[player]) > 4
    for index, (beat, length) in enumerate(_fitting(section.material.rhythms[player], bar.beats)):
        pitches = _chord(song, section, player, chord_step(section, bar, beat))
        chosen = [pitches[index % 3]] if single else pitches
        accent_db = 1.5 if beat == 1.0 else 0.0
        notes += [Note(player, beat - 1, length, pitch, gain_db + accent_db) for pitch in chosen]
    return notes


def _fitting(rhythm: Rhythm, beats: float) -> Rhythm:
    return tuple((beat, min(length, beats + 1 - beat)) for beat, length in rhythm if beat < beats + 1 - 1e-6)


def _tune_notes(song: Arrangement, section: PlannedSection, bar: BarPlan, gain_db: float) -> list[Note]:
    rng = np.random.default_rng((section.varied, bar.index))
    freedom = (0.0, 0.1, 0.3)[section.varied % 3]
    phrase = section.material.tune
    found = []
    for beat, step, length in phrase[bar.index % len(phrase)]:
        if beat >= bar.beats + 1 or rng.random() < freedom / 2:
            continue
        moved = step + int(rng.integers(-1, 2)) if rng.random() < freedom else step
        found.append(Note("lead", beat - 1, length, pitch_of(song, section, moved, 60), gain_db + 1))
    return found


def _with_figure(
    song: Arrangement, section: PlannedSection, bar: BarPlan, notes: list[Note], gain_db: float
) -> list[Note]:
    """Everybody plays the bar's figure; a figure that is not alone leaves the drums and the tune as they are."""
    kept = [] if bar.alone else [note for note in notes if note.player in ("drums", "lead")]
    found = list(kept)
    for beat, length in bar.hits:
        step = chord_step(section, bar, beat)
        for player in section.players:
            if player != "lead":
                pitches = _chord(song, section, player, step)
                found += [Note(player, beat - 1, length, pitch, gain_db + 3) for pitch in pitches]
        if song.drums and _has_drums(section):
            found += [Note("drums", beat - 1, 0.5, 0, gain_db + 3, sound) for sound in ("kick", "crash")]
    return found


def _rested(notes: list[Note], beat: float) -> list[Note]:
    return [replace(note, beats=min(note.beats, beat - note.beat)) for note in notes if note.beat < beat - 1e-6]


def push_beat(song: Arrangement, bar: BarPlan) -> float:
    """The last place of the grid before the next bar line."""
    return grid_of(song.meter, bar.beats)[-1]


def _pushed(song: Arrangement, bar: BarPlan, following: BarPlan, notes: list[Note]) -> list[Note]:
    """The coming chord sounds before its bar line, from everybody."""
    at = push_beat(song, bar) - 1
    coming = song.sections[following.section]
    found = [note for note in _rested(notes, at) if note.player != "lead"]
    found += [note for note in notes if note.player == "lead"]
    step = chord_step(coming, following, 1.0)
    gain_db = DYNAMICS_DB[coming.dynamic] + 2
    for player in coming.players:
        if player != "lead":
            found += [Note(player, at, 1.5, pitch, gain_db) for pitch in _chord(song, coming, player, step)]
    if song.drums and _has_drums(coming):
        found += [Note("drums", at, 0.5, 0, gain_db, sound) for sound in ("kick", "crash")]
    return found


def _last_chord(song: Arrangement, section: PlannedSection, start: float) -> list[Note]:
    beats = 0.5 * song.meter.pulse if song.ending == "hit" else float(song.meter.beats) * 1.2
    gain_db = DYNAMICS_DB[section.dynamic] + 1
    players = [player for player in section.players if player != "lead"]
    notes = [
        Note(player, start, beats, pitch, gain_db) for player in players for pitch in _chord(song, section, player, 0)
    ]
    if song.drums:
        notes += [Note("drums", start, 0.5, 0, gain_db, sound) for sound in ("kick", "crash")]
    return notes


def _pickup(song: Arrangement, notes: list[Note]) -> list[Note]:
    """Two or three notes of the tune before bar one."""
    section, unit = song.sections[0], 0.5 * song.meter.pulse
    steps = (4, 5, 6)
    gain_db = DYNAMICS_DB[section.dynamic] + 2
    before = [
        Note("lead", (index - 3) * unit, unit * 0.9, pitch_of(song, section, step, 60), gain_db)
        for index, step in enumerate(steps)
    ]
    return before + notes
