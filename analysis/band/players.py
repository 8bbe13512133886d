"""How each player turns bars into notes: patterns, voicings, tunes, fills and dynamics."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from fractions import Fraction

import numpy as np

from analysis.band.feels import EVEN, Feel
from analysis.band.harmony import Chord, Key, nearest_pitch, voicing
from analysis.tempo_map import MeterSign

SECTION_LOUDNESS = {"intro": 0.55, "verse": 0.65, "chorus": 0.88, "bridge": 0.7, "solo": 0.85, "outro": 0.6}
RESTING = {  # who sits out where
    "intro": {"lead", "bass"},
    "bridge": {"strings"},
    "outro": {"lead"},
}
CRASH_SECTIONS = {"chorus", "solo", "bridge"}
TUNE_CELLS = ((0.0,), (0.0, 0.5), (0.5,), (), (0.0, 0.75), (0.0, 0.25, 0.5))
STRUM_S = 0.009  # between neighbouring strings


@dataclass(frozen=True)
class Note:
    """One sound. `beat` counts felt beats from bar one; `after_s` is a deliberate delay (a strum's later strings)."""

    beat: Fraction
    length_beats: Fraction
    sound: str
    pitch: int
    velocity: float
    after_s: float = 0.0


@dataclass(frozen=True)
class Bar:
    """What a player knows of a bar."""

    number: int
    label: str
    index: int
    length: int
    chord: Chord
    meter: MeterSign
    start_beat: int
    feel: Feel
    key: Key
    is_last: bool

    @property
    def quarters(self) -> float:
        return float(self.meter.upper * Fraction(4, self.meter.lower))

    @property
    def loudness(self) -> float:
        return SECTION_LOUDNESS.get(self.label, 0.7)

    def plays(self, player: str) -> bool:
        return player not in RESTING.get(self.label, set()) or self.is_last

    def beat_at(self, quarter: float) -> Fraction:
        """Felt beats from bar one at a quarter position in this bar, swung where the feel swings."""
        whole, part = divmod(Fraction(quarter).limit_denominator(48), 1)
        swing = self.feel.swing
        if swing != EVEN:
            part = 2 * part * swing if part <= EVEN else swing + (2 * part - 1) * (1 - swing)
        return self.start_beat + (whole + part) / self.meter.quarters_per_beat

    def note(
        self, at: float, length: float, pitch: int, velocity: float, *, sound: str = "", after_s: float = 0
    ) -> Note:
        quarters = Fraction(length).limit_denominator(48) / self.meter.quarters_per_beat
        return Note(self.beat_at(at), quarters, sound, pitch, min(max(velocity, 0.05), 1.0), after_s)


def _touch(bar: Bar, at: float, rng: np.random.Generator) -> float:
    """How hard: by section, with the bar line and the half bar leaned on."""
    accent = 1.12 if at == 0 else 1.04 if at == bar.quarters / 2 else 0.95
    return bar.loudness * accent * (1 + float(rng.normal(0, 0.07)))


def bass(bars: list[Bar], rng: np.random.Generator) -> list[Note]:
    notes = []
    for bar in bars:
        if not bar.plays("bass"):
            continue
        root = nearest_pitch(bar.chord.root, 36)
        root += 12 if root < 31 else 0
        if bar.is_last:
            notes.append(bar.note(0, bar.quarters, root, bar.loudness))
            continue
        tones = (root, root + (bar.chord.tones[1] - bar.chord.root) % 12, root + 7, root + 12)
        for at, length, tone in bar.feel.bass:
            if at < bar.quarters:
                notes.append(bar.note(at, length, tones[tone], _touch(bar, at, rng)))
    return notes


def keys(bars: list[Bar], rng: np.random.Generator) -> list[Note]:
    notes: list[Note] = []
    pitches: tuple[int, ...] = ()
    for bar in bars:
        pitches = voicing(bar.chord, 53, pitches)
        pattern = ((0, bar.quarters),) if bar.is_last or bar.label == "intro" else bar.feel.keys
        for at, length in pattern:
            if at >= bar.quarters:
                continue
            touch = _touch(bar, at, rng)
            low = (nearest_pitch(bar.chord.root, 43),) if at == 0 else ()
            for pitch in low + pitches:
                spread = float(rng.uniform(0, 0.004))
                notes.append(bar.note(at, length, pitch, touch * rng.uniform(0.88, 1), after_s=spread))
    return notes


def strings(bars: list[Bar], rng: np.random.Generator) -> list[Note]:
    notes: list[Note] = []
    for bar in bars:
        if not bar.plays("strings"):
            continue
        low = nearest_pitch(bar.chord.root, 45)
        fretted = (low, low + 7, low + 12, low + 12 + (bar.chord.tones[1] - bar.chord.root) % 12, low + 19)
        picked = (fretted[0], fretted[3], fretted[1] + 12, fretted[2] + 12)
        pattern = ((0.0, bar.quarters, -1),) if bar.is_last else bar.feel.strings
        for at, length, tone in pattern:
            if at >= bar.quarters:
                continue
            touch = _touch(bar, at, rng)
            if tone >= 0:
                notes.append(bar.note(at, length, picked[tone], touch))
                continue
            up = (at * 2) % 2 == 1
            for order, pitch in enumerate(fretted[:1:-1] if up else fretted):
                spread = order * STRUM_S * float(rng.uniform(0.7, 1.2))
                notes.append(bar.note(at, length, pitch, touch * (0.75 if up else 1 - 0.05 * order), after_s=spread))
    return notes


def pad(bars: list[Bar], rng: np.random.Generator) -> list[Note]:
    notes: list[Note] = []
    pitches: tuple[int, ...] = ()
    for bar in bars:
        pitches = voicing(bar.chord, 57, pitches)
        notes += [bar.note(0, bar.quarters, pitch, bar.loudness * rng.uniform(0.85, 1)) for pitch in pitches]
    return notes


def lead(bars: list[Bar], rng: np.random.Generator) -> list[Note]:
    """A tune: two one-bar rhythms a section, moving by step, on chord tones where the bar is strong."""
    notes: list[Note] = []
    rhythm_by_label: dict[str, list[list[float]]] = {}
    pitch = 67
    for bar in bars:
        if not bar.plays("lead") or (bar.index % 8 == 7 and not bar.is_last):
            continue
        rhythms = rhythm_by_label.setdefault(bar.label, [_tune_rhythm(bar, rng) for _ in range(2)])
        places = [0.0] if bar.is_last else [at for at in rhythms[bar.index // 2 % 2] if at < bar.quarters]
        for place, following in zip(places, [*places[1:], bar.quarters], strict=True):
            strong = place == 0 or place * 2 == bar.quarters
            pitch = _next_pitch(bar, pitch, rng, strong=strong)
            length = min(following - place, 2.5) * float(rng.uniform(0.75, 0.97))
            notes.append(bar.note(place, length, pitch, _touch(bar, place, rng), sound="aoe"[rng.integers(3)]))
    return notes


def _tune_rhythm(bar: Bar, rng: np.random.Generator) -> list[float]:
    beat = 1.0 if bar.meter.lower == 4 else 1.5
    starts = np.arange(0, bar.quarters, beat)
    places = [float(start + cell) for start in starts for cell in TUNE_CELLS[rng.integers(len(TUNE_CELLS))]]
    return sorted({place if bar.meter.lower == 4 else round(place * 2) / 2 for place in places} or {0.0})


def _next_pitch(bar: Bar, pitch: int, rng: np.random.Generator, *, strong: bool) -> int:
    classes = bar.chord.tones if strong else bar.key.scale
    aim = pitch + float(rng.normal(0, 2.5)) + (67 - pitch) * 0.15
    return min((p for p in range(57, 80) if p % 12 in classes), key=lambda p: abs(p - aim))


def pickup(first: Bar, beats: Fraction) -> list[Note]:
    """Notes that lead into bar one, the first exactly `beats` before it."""
    if not beats:
        return []
    steps = max(1, round(beats * 2))
    length = beats / steps
    scale = [p for p in range(57, 80) if p % 12 in first.key.scale]
    top = scale.index(min(scale, key=lambda p: abs(p - 67)))
    return [
        Note(-beats + step * length, length * Fraction(9, 10), "a", scale[max(top - steps + step, 0)], 0.7)
        for step in range(steps)
    ]


def drums(bars: list[Bar], rng: np.random.Generator) -> list[Note]:
    notes: list[Note] = []
    for bar in bars:
        if bar.is_last:
            notes += [bar.note(0, 4, 0, 0.9, sound="crash"), bar.note(0, 1, 0, 0.9, sound="kick")]
            continue
        if bar.index == 0 and bar.label in CRASH_SECTIONS:
            notes.append(bar.note(0, 4, 0, 0.9, sound="crash"))
        fill_from = bar.quarters - 1 if bar.index == bar.length - 1 else bar.quarters
        for piece, places in bar.feel.drums.items():
            if bar.label == "intro" and piece in ("kick", "snare"):
                continue
            for at in places:
                if at < fill_from:
                    notes.append(_stroke(bar, piece, at, rng))
        if fill_from < bar.quarters:
            notes += _fill(bar, fill_from, rng)
    return notes


def _stroke(bar: Bar, piece: str, at: float, rng: np.random.Generator) -> Note:
    touch = _touch(bar, at, rng)
    if piece in ("hat", "ride"):
        touch *= 0.85 if at % 1 == 0 else 0.6
    if piece == "ghost":
        return bar.note(at, 0.5, 0, touch * 0.3, sound="snare")
    return bar.note(at, 0.5, 0, touch, sound=piece)


def _fill(bar: Bar, start: float, rng: np.random.Generator) -> list[Note]:
    pieces = ("snare", "snare", "tom-high", "tom-low")
    loud = bar.loudness
    return [bar.note(start + i / 4, 0.5, 0, loud * rng.uniform(0.8, 1), sound=p) for i, p in enumerate(pieces)]


def stick_count(meter: MeterSign, bars: int) -> list[Note]:
    beats = bars * meter.beats_per_bar
    return [Note(Fraction(-beat), Fraction(1, 4), "stick", 0, 0.8) for beat in range(beats, 0, -1)]


def click(bars: list[Bar], count_in_bars: int) -> list[Note]:
    """One click a felt beat, the first of each bar accented, count-in included; exact, never human."""
    beats = bars[0].meter.beats_per_bar
    short = Fraction(1, 4)
    notes = [
        Note(Fraction(beat), short, "accent" if beat % beats == 0 else "beat", 0, 1.0)
        for beat in range(-count_in_bars * beats, 0)
    ]
    for bar in bars:
        notes += [
            Note(Fraction(bar.start_beat + beat), short, "beat" if beat else "accent", 0, 1.0)
            for beat in range(bar.meter.beats_per_bar)
        ]
    return notes


PLAYERS: dict[str, Callable[[list[Bar], np.random.Generator], list[Note]]] = {
    "bass": bass,
    "keys": keys,
    "strings": strings,
    "pad": pad,
    "lead": lead,
    "drums": drums,
}
