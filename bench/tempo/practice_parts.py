"""The parts of practice songs: what bass, chords, arpeggios and drums commonly play in each style.

A part's bar is a list of (beat, what, length, velocity), beats from 0 in felt beats. Written for this project from
common practice; not taken from any recording, pattern library or program.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

Bar = list[tuple[float, Any, float, int]]
KICK, SNARE, STICK, HAT, OPEN, RIDE, TOM = 36, 38, 37, 42, 46, 51, 45


@dataclass(frozen=True)
class Style:
    """A meter, its feel and the range of tempi at which it is felt so."""

    name: str
    meter: str
    beats: int
    thirds: bool
    bpm: tuple[float, float]
    share: float


METERS = (
    Style("slow16", "4/4", 4, False, (56, 92), 0.13),
    Style("mid8", "4/4", 4, False, (78, 142), 0.16),
    Style("fast8", "4/4", 4, False, (128, 202), 0.11),
    Style("metal", "4/4", 4, False, (120, 205), 0.08),
    Style("shuffle", "4/4", 4, True, (84, 176), 0.09),
    Style("slow12", "4/4", 4, True, (48, 84), 0.05),
    Style("waltz", "3/4", 3, False, (54, 190), 0.12),
    Style("six8", "6/8", 2, True, (40, 84), 0.10),
    Style("five4", "5/4", 5, False, (88, 190), 0.07),
    Style("seven8", "7/8", 7, False, (160, 300), 0.09),
)


@dataclass(frozen=True)
class Part:
    kind: str
    styles: str
    programs: tuple[int, ...]
    bars: tuple[Bar, ...]


def every(
    step: float, beats: float, what: Any, length: float, velocity: int, *, first: float = 0.0, accent: int = 8
) -> Bar:
    """The same note all through the bar, louder on whole beats."""
    count = round((beats - first) / step)
    places = [first + index * step for index in range(count)]
    return [(at, what, length, velocity + (accent if abs(at - round(at)) < 0.01 else 0)) for at in places]


def at(places: str, what: Any, length: float, velocity: int) -> Bar:
    return [(float(eval_place(place)), what, length, velocity) for place in places.split()]


def eval_place(place: str) -> float:
    whole, _, third = place.partition("t")
    return float(whole or 0) + (int(third) / 3 if third else 0.0)


def cycle(whats: str, step: float, length: float, velocity: int) -> Bar:
    return [(index * step, what, length, velocity) for index, what in enumerate(whats.split())]


BASSES, GUITARS, KEYS, DIRTY, PADS = (
    (32, 33, 34, 35, 38),
    (24, 25, 26, 27),
    (0, 1, 4, 5, 16),
    (29, 30),
    (48, 50, 88, 89, 90, 52),
)
FOUR = "slow16 mid8 fast8"
PARTS = (
    # bass
    Part("bass", "slow16 mid8", BASSES, (at("0 2", "root", 1.6, 96),)),
    Part("bass", "slow16 mid8", BASSES, (at("0 1.5 2", "root", 0.9, 96), at("0 1.5 2 3.5", "root", 0.5, 94))),
    Part("bass", "slow16", BASSES, (at("0", "root", 3.5, 92),)),
    Part("bass", "slow16 mid8", BASSES, (at("0 0.75 2 2.75", "root", 0.5, 98) + at("3.5", "fifth", 0.4, 88),)),
    Part("bass", "mid8 fast8 metal", BASSES, (every(0.5, 4, "root", 0.45, 92),)),
    Part("bass", "mid8", BASSES, (at("0 2.5", "root", 0.8, 98) + at("1.5 3.5", "octave", 0.3, 90),)),
    Part("bass", "mid8", BASSES, (at("0 1.5 3", "root", 0.9, 98),)),
    Part("bass", "fast8", BASSES, (at("0", "root", 0.9, 98) + at("2", "fifth", 0.9, 94),)),
    Part("bass", "fast8 shuffle", BASSES, (cycle("root walk walk walk", 1, 0.9, 94),)),
    Part("bass", "shuffle", BASSES, (at("0 2", "root", 0.9, 96) + at("1t2 3t2", "root", 0.3, 84),)),
    Part("bass", "metal", BASSES, (every(0.5, 4, "root", 0.4, 100), at("0 0.5 1 2 2.5 3 3.5", "root", 0.4, 100))),
    Part("bass", "metal", BASSES, (every(0.25, 4, "root", 0.2, 96),)),
    Part("bass", "slow12", BASSES, (at("0 2", "root", 1.2, 96) + at("1t2 3t2", "root", 0.3, 86),)),
    Part("bass", "waltz", BASSES, (at("0", "root", 0.9, 98),)),
    Part("bass", "waltz", BASSES, (at("0", "root", 1.9, 94) + at("2", "fifth", 0.9, 84),)),
    Part("bass", "six8", BASSES, (at("0", "root", 1.8, 96),)),
    Part("bass", "six8", BASSES, (at("0", "root", 0.9, 96) + at("1", "fifth", 0.6, 88) + at("1t2", "root", 0.3, 80),)),
    Part("bass", "five4", BASSES, (at("0 3", "root", 1.2, 98),)),
    Part("bass", "five4", BASSES, (at("0 1.5 3 4", "root", 0.7, 96),)),
    Part("bass", "seven8", BASSES, (at("0 4", "root", 1.5, 98),)),
    Part("bass", "seven8", BASSES, (at("0 2 4", "root", 1.0, 98) + at("6", "fifth", 0.8, 84),)),
    # chords
    Part("comp", "slow16 mid8", KEYS, (at("0 1 2 3", "chord", 0.9, 78),)),
    Part("comp", "slow16", KEYS, (at("0", "chord", 1.9, 80) + at("2", "chord", 1.9, 72),)),
    Part("comp", "slow16 mid8", GUITARS, (at("0 1 1.5 2.5 3 3.5", "chord", 0.4, 80),)),
    Part("comp", "slow16", GUITARS, (every(0.25, 4, "chord", 0.2, 66, accent=18),)),
    Part("comp", FOUR, GUITARS, (every(0.5, 4, "chord", 0.4, 76, accent=10),)),
    Part("comp", "mid8", GUITARS + KEYS, (at("0.5 1.5 2.5 3.5", "chord", 0.25, 84),)),
    Part("comp", "mid8 fast8", GUITARS + KEYS, (at("1 3", "chord", 0.25, 86),)),
    Part("comp", "mid8", KEYS, (at("0 1.5", "chord", 1.0, 82) + at("3.5", "chord", 0.4, 74),)),
    Part("comp", "mid8 fast8", GUITARS, (at("0 0.75 1.5 2.5 3.25", "chord", 0.4, 82),)),
    Part("comp", "mid8", KEYS, (at("0 1.5 3", "chord", 0.8, 82), at("1 2", "chord", 0.8, 82))),
    Part("comp", "fast8", GUITARS, (at("1 3", "chord", 0.4, 84) + at("1.5 3.5", "chord", 0.3, 66),)),
    Part("comp", "metal", DIRTY, (every(0.25, 4, "power", 0.2, 96, accent=14),)),
    Part("comp", "metal", DIRTY, (at("0 0.5 0.75 1 1.5 1.75 2 2.5 2.75 3 3.5 3.75", "power", 0.2, 104),)),
    Part("comp", "metal fast8", DIRTY, (every(0.5, 4, "power", 0.4, 104),)),
    Part("comp", "metal", DIRTY, (at("0 1.5 2 3", "power", 0.9, 108), at("0 2.5", "power", 1.4, 108))),
    Part("comp", "shuffle", GUITARS + KEYS, (at("0 0t2 1 1t2 2 2t2 3 3t2", "chord", 0.3, 78),)),
    Part("comp", "shuffle", KEYS, (at("1 3", "chord", 0.3, 82),)),
    Part("comp", "shuffle", KEYS + GUITARS, (at("0", "chord", 0.9, 80) + at("1t2", "chord", 0.5, 84),)),
    Part("comp", "slow12", KEYS, (every(1 / 3, 4, "chord", 0.3, 70, accent=12),)),
    Part("comp", "waltz", KEYS + GUITARS, (at("1 2", "chord", 0.5, 78),)),
    Part("comp", "waltz", KEYS, (at("0", "chord", 2.6, 80),)),
    Part("comp", "waltz", GUITARS, (at("0 1 1.5 2 2.5", "chord", 0.4, 78),)),
    Part("comp", "six8", GUITARS + KEYS, (every(1 / 3, 2, "chord", 0.3, 72, accent=14),)),
    Part("comp", "six8", KEYS, (at("0 1", "chord", 0.9, 80),)),
    Part("comp", "six8", GUITARS, (at("0 0t2 1 1t2", "chord", 0.3, 80),)),
    Part("comp", "five4", KEYS + GUITARS, (at("0 1.5 3 4", "chord", 0.6, 82),)),
    Part("comp", "five4", DIRTY, (at("0 0.5 1.5 2 3 4", "power", 0.4, 100),)),
    Part("comp", "five4", KEYS, (at("0 3", "chord", 1.8, 80),)),
    Part("comp", "seven8", DIRTY + GUITARS, (at("0 2 4 6", "power", 0.9, 98),)),
    Part("comp", "seven8", KEYS, (at("0 4", "chord", 1.8, 82),)),
    Part("comp", "seven8", GUITARS, (at("0 1 2 4 5 6", "chord", 0.7, 84),)),
    # arpeggios and figures
    Part("arp", FOUR, GUITARS + KEYS, (cycle("one two three four three two three two", 0.5, 0.5, 74),)),
    Part("arp", "slow16", KEYS, (cycle("one three two three four three two three " * 2, 0.25, 0.3, 70),)),
    Part("arp", "mid8", (11, 12, 108), (cycle("four two three one", 1, 0.6, 72),)),
    Part("arp", "metal fast8", DIRTY, (cycle("one one four one three one two one", 0.5, 0.4, 92),)),
    Part("arp", "shuffle slow12", KEYS, (cycle("one two three " * 4, 1 / 3, 0.3, 72),)),
    Part("arp", "waltz", GUITARS + KEYS, (cycle("one two three four three two", 0.5, 0.5, 72),)),
    Part("arp", "six8", GUITARS + KEYS, (cycle("one two three four three two", 1 / 3, 0.4, 74),)),
    Part("arp", "five4", GUITARS, (cycle("one two three four three one two three two three", 0.5, 0.4, 76),)),
    Part("arp", "seven8", GUITARS, (cycle("one two one two one two three", 1, 0.8, 80),)),
    # sustained
    Part("pad", FOUR + " metal shuffle slow12", PADS, (at("0", "chord", 4, 62),)),
    Part("pad", "waltz", PADS, (at("0", "chord", 3, 62),)),
    Part("pad", "six8", PADS, (at("0", "chord", 2, 62),)),
    Part("pad", "five4", PADS, (at("0", "chord", 5, 62),)),
    Part("pad", "seven8", PADS, (at("0", "chord", 7, 62),)),
)

DRUM_PROGRAMS = (0,)
DRUM_PARTS = (
    Part(
        "drums",
        "mid8 fast8",
        DRUM_PROGRAMS,
        (at("0 2", KICK, 0.2, 108) + at("1 3", SNARE, 0.2, 108) + every(0.5, 4, HAT, 0.2, 76),),
    ),
    Part(
        "drums",
        "mid8",
        DRUM_PROGRAMS,
        (at("0 1 2 3", KICK, 0.2, 110) + at("1 3", SNARE, 0.2, 100) + at("0.5 1.5 2.5 3.5", OPEN, 0.3, 80),),
    ),
    Part(
        "drums",
        "mid8 slow16",
        DRUM_PROGRAMS,
        (at("0 1.5 2.5", KICK, 0.2, 106) + at("1 3", SNARE, 0.2, 106) + every(0.5, 4, HAT, 0.2, 78),),
    ),
    Part(
        "drums",
        "slow16",
        DRUM_PROGRAMS,
        (at("0 0.75 2.5", KICK, 0.2, 104) + at("1 3", SNARE, 0.2, 104) + every(0.25, 4, HAT, 0.2, 66),),
    ),
    Part(
        "drums",
        "slow16",
        DRUM_PROGRAMS,
        (at("0", KICK, 0.2, 100) + at("1 3", STICK, 0.2, 92) + every(0.5, 4, HAT, 0.2, 66),),
    ),
    Part(
        "drums",
        "fast8",
        DRUM_PROGRAMS,
        (at("0 2", KICK, 0.2, 104) + at("1 3", SNARE, 0.2, 104) + every(1, 4, RIDE, 0.4, 84),),
    ),
    Part(
        "drums",
        "fast8",
        DRUM_PROGRAMS,
        (at("0 2.5", KICK, 0.2, 108) + at("2", SNARE, 0.2, 110) + every(0.5, 4, HAT, 0.2, 74),),
    ),
    Part(
        "drums",
        "metal",
        DRUM_PROGRAMS,
        (every(0.5, 4, KICK, 0.2, 104) + at("1 3", SNARE, 0.2, 116) + every(1, 4, RIDE, 0.3, 92),),
    ),
    Part(
        "drums",
        "metal",
        DRUM_PROGRAMS,
        (every(0.25, 4, KICK, 0.1, 96) + at("1 3", SNARE, 0.2, 116) + every(0.5, 4, OPEN, 0.2, 84),),
    ),
    Part(
        "drums",
        "metal",
        DRUM_PROGRAMS,
        (at("0 0.5 1.5 2 2.5 3.5", KICK, 0.2, 108) + at("1 3", SNARE, 0.2, 116) + every(1, 4, OPEN, 0.4, 90),),
    ),
    Part(
        "drums",
        "shuffle",
        DRUM_PROGRAMS,
        (at("0 2", KICK, 0.2, 104) + at("1 3", SNARE, 0.2, 106) + at("0 0t2 1 1t2 2 2t2 3 3t2", RIDE, 0.2, 80),),
    ),
    Part(
        "drums",
        "slow12",
        DRUM_PROGRAMS,
        (at("0 2 2t2", KICK, 0.2, 104) + at("1 3", SNARE, 0.2, 106) + every(1 / 3, 4, HAT, 0.2, 74),),
    ),
    Part("drums", "waltz", DRUM_PROGRAMS, (at("0", KICK, 0.2, 104) + at("1 2", HAT, 0.2, 84),)),
    Part(
        "drums",
        "waltz",
        DRUM_PROGRAMS,
        (at("0", KICK, 0.2, 104) + at("2", SNARE, 0.2, 96) + every(0.5, 3, RIDE, 0.2, 76),),
    ),
    Part(
        "drums",
        "six8",
        DRUM_PROGRAMS,
        (at("0", KICK, 0.2, 106) + at("1", SNARE, 0.2, 106) + every(1 / 3, 2, HAT, 0.2, 74),),
    ),
    Part(
        "drums",
        "five4",
        DRUM_PROGRAMS,
        (at("0 3", KICK, 0.2, 106) + at("2 4", SNARE, 0.2, 104) + every(0.5, 5, HAT, 0.2, 74),),
    ),
    Part(
        "drums",
        "seven8",
        DRUM_PROGRAMS,
        (at("0 4", KICK, 0.2, 106) + at("2 6", SNARE, 0.2, 102) + every(1, 7, HAT, 0.2, 76),),
    ),
)
