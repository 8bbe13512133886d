"""A process of its own that decodes or checks one written set, and prints what that took.

`python -m bench.delivery.cost_child decode|check FOLDER`, where `takes.write` has put a set.
"""

from __future__ import annotations

import json
import re
import sys
import time
from pathlib import Path

from analysis.media.reader import open_media


def decode(folder: Path) -> None:
    for path in sorted((folder / "tracks").iterdir()):
        with open_media(path) as media:
            for _ in media.blocks():
                pass


def check(folder: Path) -> None:
    from analysis.delivery.verify import verify_set  # loads what a bare decode does without
    from analysis.maps.tempo_map import TempoMap

    tempo_map = TempoMap.from_json(json.loads((folder / "map.json").read_text()))
    tracks = sorted((folder / "tracks").iterdir())
    verify_set(tracks, map=tempo_map, against=folder / "rough mix.wav", originals=[folder / "music.wav"])


def highest_memory_mb() -> float:
    """Of this process since it was started. What `getrusage` says would count its parent's memory too."""
    found = re.search(r"VmHWM:\s+(\d+) kB", Path("/proc/self/status").read_text())
    return int(found[1]) / 1024 if found else float("nan")


def main() -> None:
    work = {"decode": decode, "check": check}[sys.argv[1]]
    started = time.process_time()
    work(Path(sys.argv[2]))
    took_s = time.process_time() - started
    print(json.dumps({"cpu_s": took_s, "memory_mb": highest_memory_mb()}))


if __name__ == "__main__":
    main()
