"""False alarms: what the whole check says of real recordings, each alone as a rough mix and, where a folder holds the
parts of one song, together as stems.

`python -m bench alarms FOLDER...` takes any folders of audio. Every `stop` is printed: it must be right.
"""

from __future__ import annotations

import argparse
import dataclasses
import tempfile
from collections import Counter, defaultdict
from collections.abc import Iterator, Sequence
from pathlib import Path

import numpy as np
import soundfile

from analysis.core.reports import Brief, Finding
from analysis.findings.catalogue import KIND_BY_CODE, Severity
from analysis.measuring.song import SongFile, measure_song
from analysis.measuring.survey import survey_file

SOUND = frozenset({".wav", ".aif", ".aiff", ".flac", ".ogg", ".opus", ".mp3", ".m4a"})
SHORTEST_S = 20.0  # shorter ones are effects, not music
# Files of one folder whose lengths agree this well are parts of one song; tracks of an album do not.
PARTS_ALIKE_S = 1.0
MOST_PARTS = 16


def run(options: argparse.Namespace) -> None:
    recordings = list(recordings_in(options.folders))
    if not recordings:
        print("\nFalse alarms: left out. Say which folders of recordings to look through.")
        return
    alone = [finding for one in recordings for finding in _check([one])]
    songs = list(_songs(recordings))
    together = [finding for parts in songs for finding in _check_with_mix(parts)]
    print(f"\nFalse alarms: {len(recordings)} recordings alone, {len(songs)} songs of parts with the mix made of them")
    _print_table(alone, together)
    for finding in (*alone, *together):
        if options.findings or finding.severity == Severity.STOP.value:
            print(f"  {finding.severity:<5}{finding.code:<22}{finding.message}")


def recordings_in(folders: Sequence[Path]) -> Iterator[SongFile]:
    """Every piece of music below the folders, surveyed; each recording once, however often it is packed."""
    seen: set[str | None] = set()
    for path in sorted(path for folder in folders for path in folder.rglob("*") if path.suffix.lower() in SOUND):
        if not path.is_file() or path.stat().st_size < 2**12:
            continue
        survey = survey_file(path)
        if (survey.report.duration_s or 0.0) >= SHORTEST_S and survey.report.audio_digest not in seen:
            seen.add(survey.report.audio_digest)
            yield SongFile(survey.report, survey.features, path)


def _songs(recordings: Sequence[SongFile]) -> Iterator[list[SongFile]]:
    by_folder: dict[Path, list[SongFile]] = defaultdict(list)
    for one in recordings:
        if one.path:
            by_folder[one.path.parent].append(one)
    for parts in by_folder.values():
        lengths = [part.report.duration_s or 0.0 for part in parts]
        if 2 <= len(parts) <= MOST_PARTS and max(lengths) - min(lengths) <= PARTS_ALIKE_S:
            yield parts


def _check(files: Sequence[SongFile]) -> tuple[Finding, ...]:
    """Under the folder's name too: packages call every song's file the same."""
    report = measure_song(files, Brief())
    folder = files[0].path.parent.name if files[0].path else ""
    return tuple(dataclasses.replace(finding, message=f"{folder}: {finding.message}") for finding in report.findings)


def _check_with_mix(parts: list[SongFile]) -> tuple[Finding, ...]:
    with tempfile.TemporaryDirectory(prefix="alarms-") as folder:
        path = Path(folder) / "rough mix.wav"
        write_mix([part.path for part in parts if part.path], path)
        survey = survey_file(path)
        return _check([*parts, SongFile(survey.report, survey.features, path)])


def write_mix(paths: Sequence[Path], to: Path) -> None:
    """The plain sum, 1 dB under full scale, 24 bits."""
    tracks = [soundfile.read(path, always_2d=True, dtype="float32") for path in paths]
    mix = np.zeros((max(len(track) for track, _ in tracks), max(track.shape[1] for track, _ in tracks)), np.float32)
    for track, _ in tracks:
        mix[: len(track)] += track
    soundfile.write(to, mix * (10 ** (-1 / 20) / np.abs(mix).max()), tracks[0][1], subtype="PCM_24")


def _print_table(alone: Sequence[Finding], together: Sequence[Finding]) -> None:
    counts = [Counter((finding.code, finding.severity) for finding in group) for group in (alone, together)]
    print(
        f"  {'finding':<24}" + "".join(f"{side + ' ' + mark:>16}" for side in ("alone", "parts") for mark in Severity)
    )
    for code in KIND_BY_CODE:
        cells = [group[code, mark.value] for group in counts for mark in Severity]
        if any(cells):
            print(f"  {code:<24}" + "".join(f"{cell or '-':>16}" for cell in cells))
