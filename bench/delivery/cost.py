"""What checking a set costs beside decoding it: `python -m bench delivery --cost` prints ratios of one run.

Sixteen tracks of five minutes; the minutes repeat, which changes nothing about the work.
"""

from __future__ import annotations

import resource
import tempfile
import time
from dataclasses import replace
from pathlib import Path

import numpy as np

from analysis.delivery.verify import verify_set
from analysis.media.reader import open_media
from bench.delivery.hits import RATE_HZ
from bench.delivery.plans import plan_of
from bench.delivery.takes import DrumSet, kept, write

_TRACKS, _SONG_S = 16, 300


def print_cost(seed: int, folder: Path) -> None:
    drum_set = _long(kept(replace(plan_of("rock", seed), kit="large"), folder))
    with tempfile.TemporaryDirectory(prefix="cost-") as place:
        files = write(drum_set, Path(place))
        started = time.process_time()
        for path in files.tracks:
            with open_media(path) as media:
                for _ in media.blocks():
                    pass
        decoded_s, before = time.process_time() - started, _memory_mb()
        started = time.process_time()
        verify_set(files.tracks, map=drum_set.tempo_map, against=files.mix)
        checked_s = time.process_time() - started
    print(f"\nA check of {len(files.tracks)} tracks of {_SONG_S} s: {checked_s:.0f} s of CPU time")
    print(f"  {checked_s / decoded_s:.0f} times a bare decode of them ({decoded_s:.2f} s)")
    print(f"  memory at its highest {_memory_mb():.0f} MB, {before:.0f} MB before the check")


def _memory_mb() -> float:
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024


def _long(drum_set: DrumSet) -> DrumSet:
    """Fourteen microphones and two of them again as tracks of their own, over and over up to five minutes."""
    frames = _SONG_S * RATE_HZ
    names = [*drum_set.tracks, "Floor2", "KickSub"][:_TRACKS]
    sources = {"Floor2": "Floor1", "KickSub": "KickOut"}
    tracks = {name: np.resize(drum_set.tracks[sources.get(name, name)], frames) for name in names}
    return replace(drum_set, tracks=tracks, mix=np.resize(drum_set.mix, (frames, 2)))
