"""Are drums heard where there are none? Plucked, struck and muted parts alone, and bands without drums.

usage: python -m bench.files.drum_trial --font FONT.sf2 [--font ...] [--seed N] [--each N]

Needs the program fluidsynth and General MIDI sound fonts. The same options give the same sounds. What
`fit_guide_drums --font` learns from is drawn from other seeds.
"""

from __future__ import annotations

import argparse
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from analysis.core.samples import Doubles, Samples
from analysis.core.thresholds import Limits
from analysis.features.feature_arrays import Features, MusicFeatures
from analysis.features.guide_drums import drum_numbers, find_drums
from bench.tempo.practice_parts import DRUM_PARTS, METERS, PARTS, Part
from bench.tempo.practice_songs import DRUM_CHANNEL, Song, harmony, perform, play

SECONDS = 24
TRIAL_SEED = 7_000
ON_GRID = 0.5  # so many are played without any scatter
# What plays: General MIDI programs, and the kinds of part that suit them.
SOLOISTS: dict[str, tuple[tuple[int, ...], tuple[str, ...]]] = {
    "acoustic guitar": ((24, 25), ("comp", "arp")),
    "electric guitar": ((26, 27), ("comp", "arp")),
    "muted guitar": ((28,), ("comp", "arp")),
    "driven guitar": ((29, 30), ("comp", "arp")),
    "harp, pizzicato": ((45, 46), ("arp", "comp")),
    "banjo and other lutes": ((104, 105, 106, 107), ("arp", "comp")),
    "slapped, picked bass": ((33, 34, 36, 37), ("bass",)),
    "piano": ((0, 1, 3), ("comp", "arp")),
    "electric piano, clavinet": ((4, 5, 6, 7), ("comp", "arp")),
    "mallets": ((11, 12, 13, 108), ("arp",)),
}
BANDS = {
    "plucked band": (("comp", (24, 25, 27, 28)), ("arp", (24, 25, 46, 105)), ("bass", (32, 33, 36))),
    "band": (("comp", (0, 4, 27, 29)), ("arp", (0, 11, 25)), ("bass", (33, 34, 38)), ("pad", (48, 50, 89))),
}


@dataclass(frozen=True)
class Sound:
    group: str
    has_drums: bool
    numbers: Doubles
    confidence: float
    is_claimed: bool


def sounds(fonts: Sequence[Path], seed: int, each: int) -> Iterator[Sound]:
    """`each` examples of every group, drawn from `seed`."""
    for number in range(each):
        for group, (programs, kinds) in SOLOISTS.items():
            rng = np.random.default_rng((seed, number, *group.encode()))
            yield from _heard(group, rng, fonts, [(str(rng.choice(kinds)), programs)], has_drums=False)
        for group, players in BANDS.items():
            rng = np.random.default_rng((seed, number, *group.encode()))
            yield from _heard(group, rng, fonts, players, has_drums=False)
            yield from _heard(f"{group} with drums", rng, fonts, players, has_drums=True)
        yield from _heard("drums alone", np.random.default_rng((seed, number)), fonts, (), has_drums=True)


def _heard(
    group: str,
    rng: np.random.Generator,
    fonts: Sequence[Path],
    players: Sequence[tuple[str, tuple[int, ...]]],
    *,
    has_drums: bool,
) -> Iterator[Sound]:
    song = _written(rng, players, has_drums=has_drums)
    scatter_s = 0.0 if rng.random() < ON_GRID else None
    font, rate = fonts[int(rng.integers(len(fonts)))], int(rng.choice([44_100, 48_000]))
    samples, _ = perform(rng, song, font, rate, "const", scatter_s=scatter_s)
    features = features_of(samples.astype(np.float32) * np.float32(0.8 / max(np.abs(samples).max(), 1e-9)), rate)
    numbers = drum_numbers(features)
    if numbers is not None:
        found = find_drums(features, Limits())
        yield Sound(group, has_drums, numbers, found.confidence, bool(found.present))


def _written(rng: np.random.Generator, players: Sequence[tuple[str, tuple[int, ...]]], *, has_drums: bool) -> Song:
    """One part for every player, in a meter and a style that knows them all."""
    style = METERS[rng.integers(len(METERS))]
    bpm = float(round(rng.uniform(*style.bpm), 0))
    song = Song(style, bpm, max(6, int(SECONDS * bpm / 60 / style.beats)))
    chords = harmony(rng, style, song.bars)
    for channel, (kind, programs) in enumerate(players, 1):
        fitting = [part for part in PARTS if part.kind == kind and style.name in part.styles]
        if not fitting:  # five and seven beats have few parts
            fitting = [part for part in PARTS if part.kind != "pad" and style.name in part.styles]
        part = fitting[rng.integers(len(fitting))]
        play(rng, song, Part(part.kind, part.styles, programs, part.bars), channel, chords)
    if has_drums:
        fitting = [part for part in DRUM_PARTS if style.name in part.styles]
        play(rng, song, fitting[rng.integers(len(fitting))], DRUM_CHANNEL, chords)
        song.has_drums = True
    return song


def features_of(samples: Samples, rate: int) -> Features:
    music = MusicFeatures(rate, samples.shape[1])
    music.add(samples)
    return music.finish()


def print_table(found: Sequence[Sound], bars: Sequence[float]) -> None:
    """Of every group, in how many drums are claimed: as the file's report says it, and at higher certainties."""
    print(f"{'group':<28}{'sounds':>8}{'claimed':>10}" + "".join(f"{f'from {bar:.0%}':>12}" for bar in bars))
    for group in (*sorted({sound.group for sound in found}), "all without drums", "all with drums"):
        of = [sound for sound in found if group in (sound.group, f"all with{'' if sound.has_drums else 'out'} drums")]
        claims = [sound.confidence for sound in of if sound.is_claimed]
        counts = [len(claims), *(sum(claim >= bar for claim in claims) for bar in bars)]
        print(f"{group:<28}{len(of):>8}{counts[0]:>10}" + "".join(f"{count:>12}" for count in counts[1:]))


def main() -> None:
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--font", type=Path, action="append", required=True)
    parser.add_argument("--seed", type=int, default=TRIAL_SEED)
    parser.add_argument("--each", type=int, default=20, help="sounds of every group")
    options = parser.parse_args()
    print_table(list(sounds(options.font, options.seed, options.each)), (0.85, 0.9, 0.95))


if __name__ == "__main__":
    main()
