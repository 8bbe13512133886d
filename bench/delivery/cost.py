"""What checking a set costs beside decoding it: `python -m bench delivery --cost` prints ratios of one run.

Sixteen tracks of five minutes; the minutes repeat, which changes nothing about the work. Both run in processes of their
own, so that nothing of the bench counts.
"""

from __future__ import annotations

import json
import subprocess
import sys
import tempfile
from dataclasses import replace
from pathlib import Path

import numpy as np

from bench.delivery.hits import RATE_HZ
from bench.delivery.plans import plan_of
from bench.delivery.takes import DrumSet, kept, write

_TRACKS, _SONG_S = 16, 300


def print_cost(seed: int, folder: Path) -> None:
    with tempfile.TemporaryDirectory(prefix="cost-") as place:
        write(_long(kept(replace(plan_of("rock", seed), kit="large"), folder)), Path(place))
        decoded, checked = (_cost_of(work, Path(place)) for work in ("decode", "check"))
    times, more = (checked[name] / decoded[name] for name in ("cpu_s", "memory_mb"))
    print(f"\nA check of {_TRACKS} tracks of {_SONG_S} s, against a bare decode of them")
    print(f"  {checked['cpu_s']:.0f} s of CPU time, {times:.0f} times {decoded['cpu_s']:.2f} s")
    print(f"  {checked['memory_mb']:.0f} MB at its highest, {more:.1f} times {decoded['memory_mb']:.0f} MB")


def _cost_of(work: str, folder: Path) -> dict[str, float]:
    command = [sys.executable, "-m", "bench.delivery.cost_child", work, str(folder)]
    found: dict[str, float] = json.loads(subprocess.run(command, check=True, capture_output=True).stdout)
    return found


def _long(drum_set: DrumSet) -> DrumSet:
    """Fourteen microphones and two of them again as tracks of their own, over and over up to five minutes."""
    frames = _SONG_S * RATE_HZ
    names = [*drum_set.tracks, "Floor2", "KickSub"][:_TRACKS]
    sources = {"Floor2": "Floor1", "KickSub": "KickOut"}
    tracks = {name: np.resize(drum_set.tracks[sources.get(name, name)], frames) for name in names}
    mix, music = (np.resize(sound, (frames, 2)) for sound in (drum_set.mix, drum_set.music))
    return replace(drum_set, tracks=tracks, mix=mix, music=music)
