"""Line-up: stems moved by known amounts, with gain, polarity and unrelated material, and how exactly that is found.

Songs of the practice band, a rough mix of each; one stem is late by 1 to 50 000 samples. Then sets that share no sound,
where "can't tell" is the only right answer.
"""

from __future__ import annotations

import argparse
import tempfile
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from analysis.band.feels import FEELS
from analysis.band.render import Stem, mix_stems, render_stems, write_wav
from analysis.band.score import steady, write_score
from analysis.core.thresholds import Limits
from analysis.lineup.starts import Source, Start, find_starts
from analysis.media.windows import activity_of

RATE_HZ = 48_000
OFFSETS = (1, 3, 10, 47, 133, 480, 1_105, 2_112, 9_999, 24_000, 50_000)
CHANGES = (("as it is", 1.0, 0.0), ("-14 dB", 0.2, 0.0), ("inverted", -1.0, 0.0), ("with noise as loud", 1.0, 1.0))
PLAYERS = ("bass", "keys", "lead", "drums")
FORM = (("verse", 8), ("chorus", 8))


@dataclass
class Tally:
    exact: int = 0
    wrong: int = 0
    cannot_tell: int = 0
    furthest_frames: int = 0

    def add(self, found: Start | None, due_frames: int) -> None:
        if found is None:
            self.cannot_tell += 1
            return
        error = abs(found.offset_frames - due_frames)
        self.exact += error == 0
        self.wrong += error > 0
        self.furthest_frames = max(self.furthest_frames, error)


def run(options: argparse.Namespace) -> None:
    print("\nLine-up: one stem late against the rest of its song and the rough mix of it, by samples")
    print(f"  {'stem':<28}{'exact':>7}{'wrong':>7}{'no answer':>11}{'furthest':>10}")
    tallies: dict[str, Tally] = {}
    feels = list(FEELS)
    for offset, frames in enumerate(OFFSETS):
        feel = feels[(offset + options.seed) % len(feels)]
        stems = _stems(feel, options.seed * 100 + offset)
        for change, gain, noise in CHANGES:
            moved = PLAYERS[(offset + len(tallies)) % len(PLAYERS)]
            tally = tallies.setdefault(change, Tally())
            tally.add(_found(stems, moved, frames, gain, noise), frames)
        strangers = tallies.setdefault("no mix: nothing shared", Tally())
        for start in _starts(stems):
            strangers.add(start, 0)
    for name, tally in tallies.items():
        print(f"  {name:<28}{tally.exact:>7}{tally.wrong:>7}{tally.cannot_tell:>11}{tally.furthest_frames:>10}")


def _stems(feel: str, seed: int) -> dict[str, Stem]:
    plan = steady("Line", seed, 90 + seed % 60, form=FORM, players=PLAYERS, feel=feel)
    return render_stems(write_score(plan), RATE_HZ)


def _found(stems: dict[str, Stem], moved: str, frames: int, gain: float, noise: float) -> Start | None:
    mix = mix_stems(stems)
    late = np.zeros_like(stems[moved])
    late[frames:] = stems[moved][:-frames] * gain
    if noise:
        hiss = np.random.default_rng(frames).standard_normal(late.shape).astype(np.float32)
        late += noise * hiss * float(np.sqrt(np.mean(late**2)))
    names = [*stems, "mix"]
    return _starts(stems | {moved: late, "mix": mix})[names.index(moved)]


def _starts(sounds: dict[str, Stem]) -> tuple[Start | None, ...]:
    with tempfile.TemporaryDirectory(prefix="line-up-") as folder:
        paths = [write_wav(Path(folder) / f"{name}.wav", sound, RATE_HZ) for name, sound in sounds.items()]
        sources = [_source(path, sound) for path, sound in zip(paths, sounds.values(), strict=True)]
        return find_starts(sources, Limits())


def _source(path: Path, sound: Stem) -> Source:
    whole = len(sound) // RATE_HZ * RATE_HZ
    seconds = (sound[:whole] ** 2).mean(axis=1).reshape(-1, RATE_HZ).mean(axis=1)
    loudness = 10 * np.log10(float(np.mean(sound**2)) + 1e-12)
    return Source(path, RATE_HZ, activity_of(seconds), loudness, len(sound) / RATE_HZ)
