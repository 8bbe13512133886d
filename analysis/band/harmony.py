"""Keys, chords and the progressions that the band knows, as pitch classes and scale steps."""

from __future__ import annotations

from dataclasses import dataclass

# Semitones above the tonic.
_MAJOR = (0, 2, 4, 5, 7, 9, 11)
_MINOR = (0, 2, 3, 5, 7, 8, 10)
_STEP_BY_NUMERAL = {"I": 0, "II": 1, "III": 2, "IV": 3, "V": 4, "VI": 5, "VII": 6}

# House choices. One chord a bar, repeated through the section; "V/" is the same chord over its third.
_MAJOR_PROGRESSIONS = (
    "I IV I V",
    "I III IV V",
    "VI IV I V",
    "I V VI III IV I II V",
    "IV I V VI",
    "I II IV I",
    "VI V IV V",
    "I VI II V",
    "IV V III VI II V I I",
)
_MINOR_PROGRESSIONS = (
    "I VI III VII",
    "I IV VII III VI IV V V",
    "I VII VI VII",
    "VI VII I I",
    "I V VI IV",
    "I III VII IV",
    "IV I V I",
)


@dataclass(frozen=True)
class Key:
    """`tonic` is a pitch class (0 is C)."""

    tonic: int
    minor: bool = False

    @property
    def scale(self) -> tuple[int, ...]:
        return tuple((self.tonic + step) % 12 for step in (_MINOR if self.minor else _MAJOR))

    @property
    def progressions(self) -> tuple[str, ...]:
        return _MINOR_PROGRESSIONS if self.minor else _MAJOR_PROGRESSIONS


@dataclass(frozen=True)
class Chord:
    """Pitch classes from the root up."""

    tones: tuple[int, ...]

    @property
    def root(self) -> int:
        return self.tones[0]

    @property
    def fifth(self) -> int:
        return self.tones[2]


def chord_on(key: Key, numeral: str, *, seventh: bool = False) -> Chord:
    """The chord that stacks scale thirds on a step; the dominant of a minor key gets its leading note."""
    first = _STEP_BY_NUMERAL[numeral]
    tones = [key.scale[(first + third) % 7] for third in ((0, 2, 4, 6) if seventh else (0, 2, 4))]
    if key.minor and numeral == "V":
        tones[1] = (key.tonic + 11) % 12
    return Chord(tuple(tones))


def nearest_pitch(pitch_class: int, near: float) -> int:
    """The MIDI pitch of a class closest to `near`."""
    base = round(near)
    return min(range(base - 6, base + 7), key=lambda pitch: (pitch % 12 != pitch_class, abs(pitch - near)))


def voicing(chord: Chord, low: int, near: tuple[int, ...] = ()) -> tuple[int, ...]:
    """Close chord tones from `low` up, in the turn that moves least from the chord before."""
    turns = []
    for first in range(len(chord.tones)):
        pitch, pitches = low - 1, []
        for tone in chord.tones[first:] + chord.tones[:first]:
            pitch += (tone - pitch - 1) % 12 + 1
            pitches.append(pitch)
        turns.append(tuple(pitches))
    if not near:
        return turns[0]
    centre = sum(near) / len(near)
    return min(turns, key=lambda turn: abs(sum(turn) / len(turn) - centre))
