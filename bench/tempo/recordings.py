"""Recordings from an openly packaged source: four songs of known tempo, fetched with the system's package tool.

Debian's `fretsonfire-songs-sectoid` (MIT licence): each song is one whole tempo, played to a click; the values are
those of the charts in the package. The songs come as two files, the band and the guitar.
"""

from __future__ import annotations

import argparse
import json
import shutil
import subprocess
from pathlib import Path

import numpy as np
import soundfile

from bench.tempo.compare import compare
from bench.tempo.known import MANIFEST

PACKAGE = "fretsonfire-songs-sectoid"
BPM_BY_TITLE = {"Escape from chaosland": 135, "Feelings": 95, "Metal madness": 150, "War of freedom": 140}


def run(options: argparse.Namespace) -> None:
    folder = options.data / "recordings"
    unpacked = fetch(folder, PACKAGE)
    if unpacked is None:
        print("\nRecordings: left out. They need Debian's package tools (apt-get, dpkg-deb) and its package lists.")
        return
    lines = [_line(chart.parent, folder) for chart in sorted(unpacked.rglob("notes.mid"))]
    (folder / MANIFEST).write_text("".join(json.dumps(line) + "\n" for line in lines))
    compare(folder, options)


def _line(song: Path, folder: Path) -> dict[str, object]:
    mix = _mix(song, folder / f"{song.name}.wav")
    return {
        "id": song.name,
        "cat": "recorded",
        "files": [mix.name],
        "dur": soundfile.info(mix).duration,
        "bpm": BPM_BY_TITLE[song.name],
        "constant": True,
        "kind": "const",
    }


def fetch(folder: Path, package: str) -> Path | None:
    """Unpack a Debian package below `folder`, without installing it. None where that cannot be done."""
    unpacked = folder / package
    if unpacked.exists():
        return unpacked
    if not (shutil.which("apt-get") and shutil.which("dpkg-deb")):
        return None
    folder.mkdir(parents=True, exist_ok=True)
    if subprocess.run(["apt-get", "download", package], cwd=folder, capture_output=True, check=False).returncode:
        return None
    archive = next(folder.glob(f"{package}_*.deb"))
    subprocess.run(["dpkg-deb", "-x", archive, unpacked], check=True)
    archive.unlink()
    return unpacked


def _mix(song: Path, path: Path) -> Path:
    if not path.exists():
        (band, rate), (guitar, _) = (
            soundfile.read(song / f"{name}.ogg", always_2d=True) for name in ("song", "guitar")
        )
        frames = min(len(band), len(guitar))
        mix = band[:frames] + guitar[:frames]
        soundfile.write(path, 0.9 * mix / np.abs(mix).max(), rate, subtype="PCM_16")
    return path
