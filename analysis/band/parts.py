"""What a part is made of: notes, and what a player knows of each bar."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from fractions import Fraction

import numpy as np

from analysis.band.feels import EVEN, Feel
from analysis.band.harmony import Chord, Key
from analysis.maps.tempo_map import MeterSign

# House choices: how loud a section is, and who sits out where.
_SECTION_LOUDNESS = {"intro": 0.55, "verse": 0.65, "chorus": 0.88, "bridge": 0.7, "solo": 0.85, "outro": 0.6}
_RESTING = {"intro": {"lead", "bass"}, "bridge": {"strings"}, "outro": {"lead"}}
# Positions are read to 1/48 of a quarter: thirds and sixteenths are exact.
_FINEST = 48


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
    """What a player knows of a bar: `chords` are (from which quarter, chord), `coming` is the next bar's chord."""

    number: int
    label: str
    index: int
    length: int
    chords: tuple[tuple[float, Chord], ...]
    coming: Chord
    meter: MeterSign
    start_beat: int
    feel: Feel
    key: Key
    is_last: bool

    @property
    def quarters(self) -> float:
        return float(self.meter.upper * Fraction(4, self.meter.lower))

    @property
    def chord(self) -> Chord:
        return self.chords[0][1]

    @property
    def loudness(self) -> float:
        """By section, growing a little towards its end."""
        return _SECTION_LOUDNESS.get(self.label, 0.7) * (0.96 + 0.06 * self.index / self.length)

    def plays(self, player: str) -> bool:
        return player not in _RESTING.get(self.label, set()) or self.is_last

    def chord_at(self, at: float) -> Chord:
        """The chord under a position; a feel that pushes takes the next bar's chord before its bar line."""
        if self.feel.pushes_from is not None and at >= self.feel.pushes_from:
            return self.coming
        return next(chord for start, chord in reversed(self.chords) if at >= start)

    def beat_at(self, quarter: float) -> Fraction:
        """Felt beats from bar one at a quarter position in this bar, swung where the feel swings."""
        whole, part = divmod(Fraction(quarter).limit_denominator(_FINEST), 1)
        swing = self.feel.swing
        if swing != EVEN:
            part = 2 * part * swing if part <= EVEN else swing + (2 * part - 1) * (1 - swing)
        return self.start_beat + (whole + part) / self.meter.quarters_per_beat

    def note(
        self, at: float, length: float, pitch: int, velocity: float, *, sound: str = "", after_s: float = 0.0
    ) -> Note:
        quarters = Fraction(length).limit_denominator(_FINEST) / self.meter.quarters_per_beat
        return Note(self.beat_at(at), quarters, sound, pitch, min(max(velocity, 0.05), 1.0), after_s)


Player = Callable[[list[Bar], np.random.Generator], list[Note]]


def touch(bar: Bar, at: float, rng: np.random.Generator) -> float:
    """How hard: by section, with the bar line and the half bar leaned on."""
    accent = 1.12 if at == 0 else 1.04 if at == bar.quarters / 2 else 0.95
    return bar.loudness * accent * (1 + float(rng.normal(0, 0.07)))
