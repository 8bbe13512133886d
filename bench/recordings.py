"""Recorded rock from an openly packaged source: four songs of known tempo, fetched with the system's package tool.

Debian's `fretsonfire-songs-sectoid` (MIT licence): each song is one whole tempo, played to a click; the values are
those of the charts in the package. The songs come as two files, the band and the guitar.
"""

from __future__ import annotations

import argparse
import shutil
import subprocess
from pathlib import Path

import numpy as np
import soundfile

from bench.scores import LEVELS, TEMPO_BPM
from bench.tempo import read_librosa, read_ours

PACKAGE = "fretsonfire-songs-sectoid"
BPM_BY_TITLE = {"Escape from chaosland": 135, "Feelings": 95, "Metal madness": 150, "War of freedom": 140}


def run(options: argparse.Namespace) -> None:
    folder = fetch(options.data / "recordings")
    if folder is None:
        print("\nRecordings: left out. They need Debian's package tools (apt-get, dpkg-deb) and its package lists.")
        return
    print(f"\nRecordings: {PACKAGE}, mixed; BPM found (true), right within {TEMPO_BPM} BPM, at any level")
    for chart in sorted(folder.rglob("notes.mid")):
        title, true_bpm = chart.parent.name, BPM_BY_TITLE[chart.parent.name]
        mix = _mix(chart.parent, options.data / "recordings" / f"{title}.wav")
        for tool, read in (("kitpost", read_ours), ("librosa", read_librosa)):
            bpm = read([mix]).bpm or 0.0
            right = abs(bpm - true_bpm) <= TEMPO_BPM
            any_level = any(abs(bpm / float(level) - true_bpm) <= TEMPO_BPM for level in LEVELS)
            print(f"  {title:<24}{tool:<9}{bpm:>9.3f} ({true_bpm})  {_word(right):<4}{_word(any_level)}")


def _word(right: object) -> str:
    return "yes" if right else "no"


def fetch(folder: Path) -> Path | None:
    """Unpack the package below `folder`, without installing it. None where that cannot be done."""
    unpacked = folder / PACKAGE
    if unpacked.exists():
        return unpacked
    if not (shutil.which("apt-get") and shutil.which("dpkg-deb")):
        return None
    folder.mkdir(parents=True, exist_ok=True)
    if subprocess.run(["apt-get", "download", PACKAGE], cwd=folder, capture_output=True, check=False).returncode:
        return None
    archive = next(folder.glob(f"{PACKAGE}_*.deb"))
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
