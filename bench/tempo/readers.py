"""The tools that read a song, each in a process of its own: `python -m bench.tempo.readers TOOL`.

Files come in, one line of JSON a song; readings go out, with the CPU seconds each took and the process's peak
memory. The first song is read twice and its first time is not counted: some libraries compile when first called.
"""

from __future__ import annotations

import hashlib
import importlib.metadata
import json
import resource
import shutil
import subprocess
import sys
import time
from collections.abc import Callable
from dataclasses import asdict, dataclass
from pathlib import Path

import numpy as np

from bench.speed.jobs import peak_memory_mb
from bench.tempo.scores import Reading

Read = Callable[[list[Path]], Reading]


@dataclass(frozen=True)
class Tool:
    """A way to read a song. `takes_stems`: it pools files itself; the others get the sum of them. `is_fitted`: it has
    weights that can be exchanged for others."""

    read: Read
    version: Callable[[], str | None]
    how_to_get: str = ""
    takes_stems: bool = False
    is_fitted: bool = False


def read_kitpost(paths: list[Path]) -> Reading:
    from analysis.core.reports import Brief
    from analysis.measuring.song import SongFile, measure_song
    from analysis.measuring.survey import survey_file

    surveys = [survey_file(path, name=f"{number}.wav") for number, path in enumerate(paths)]
    files = [SongFile(one.report, one.features, path) for one, path in zip(surveys, paths, strict=True)]
    report = measure_song(files, Brief())
    song, tempo, meter = report.song, report.song.tempo, report.song.meter
    others = sorted(tempo.alternatives, key=lambda other: -other.weight)[:4]
    return Reading(
        bpm=tempo.bpm,
        beats_s=song.beats_s,
        downbeats_s=song.downbeats_s,
        bar_one_s=song.bar_one.time_s,
        meter=f"{meter.beats_per_bar}/{meter.beat_unit}" if meter.beats_per_bar else None,
        kind=tempo.kind,
        offered_bpm=(*([tempo.bpm] if tempo.bpm else []), *(other.bpm for other in others)),
        interval_bpm=(tempo.bpm_low, tempo.bpm_high) if tempo.bpm_low and tempo.bpm_high else None,
        confidences=(tempo.confidence, meter.confidence, song.bar_one.confidence),
        findings=tuple(sorted({finding.code for finding in report.findings})),
        are_clicks=tuple(file.is_click for file in report.files),
    )


def read_librosa(paths: list[Path]) -> Reading:
    """The library's own way: its default rate of 22 050 Hz and its default beat tracker."""
    import librosa

    sound, _ = librosa.load(paths[0])
    bpm, beats_s = librosa.beat.beat_track(y=sound, sr=22_050, units="time")
    return Reading(bpm=float(np.atleast_1d(bpm)[0]), beats_s=tuple(float(beat) for beat in beats_s))


def read_essentia(paths: list[Path]) -> Reading:
    """The more accurate of its two methods, at the rate it asks for."""
    import essentia
    from essentia.standard import MonoLoader, RhythmExtractor2013

    essentia.log.infoActive = essentia.log.warningActive = False
    sound = MonoLoader(filename=str(paths[0]), sampleRate=44_100)()
    bpm, beats_s, *_ = RhythmExtractor2013(method="multifeature")(sound)
    return Reading(bpm=float(bpm), beats_s=tuple(float(beat) for beat in beats_s))


def read_aubio(paths: list[Path]) -> Reading:
    """Its beat tracker's program; tempo as its own example takes it, from the middle distance of two beats."""
    done = subprocess.run(["aubiotrack", "-i", paths[0]], capture_output=True, text=True, check=True)
    beats_s = tuple(float(line.split()[0]) for line in done.stdout.splitlines() if line.strip())
    return Reading(bpm=float(np.median(60 / np.diff(beats_s))) if len(beats_s) > 1 else None, beats_s=beats_s)


def _package(name: str) -> Callable[[], str | None]:
    def version() -> str | None:
        try:
            return importlib.metadata.version(name)
        except importlib.metadata.PackageNotFoundError:
            return None

    return version


def _kitpost_version() -> str:
    """The engine's version and its sources' own: a changed line is another engine."""
    import analysis

    sources = sorted(path for path in Path(analysis.__file__).parent.rglob("*") if path.suffix in {".py", ".json"})
    return (
        f"{analysis.ENGINE_VERSION}+{hashlib.sha256(b''.join(path.read_bytes() for path in sources)).hexdigest()[:8]}"
    )


def _aubio_version() -> str | None:
    return "aubiotrack" if shutil.which("aubiotrack") else None


TOOLS = {
    "kitpost": Tool(read_kitpost, _kitpost_version, takes_stems=True, is_fitted=True),
    "librosa": Tool(read_librosa, _package("librosa"), "make venv"),
    "aubio": Tool(read_aubio, _aubio_version, "the program aubiotrack (Debian: apt-get install aubio-tools)"),
    "essentia": Tool(read_essentia, _package("essentia"), "make bench-libraries (wheels for Linux and macOS)"),
}


def use_weights(path: str | None) -> None:
    """Exchange the engine's fitted weights, for songs whose pattern they must not have seen."""
    if path:
        from analysis.bars import weighing as choice

        choice.WEIGHTS_PATH = Path(path)
        choice.fitted_weights.cache_clear()


def _cpu_s() -> float:
    children = resource.getrusage(resource.RUSAGE_CHILDREN)
    return time.process_time() + children.ru_utime + children.ru_stime


def _answer(read: Read, paths: list[Path]) -> dict[str, object]:
    start_s = _cpu_s()
    reading = read(paths)
    taken_s = _cpu_s() - start_s
    children_mb = resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss / 1024
    return {"reading": asdict(reading), "cpu_s": taken_s, "peak_mb": max(peak_memory_mb(), children_mb)}


def main() -> None:
    read, is_warm = TOOLS[sys.argv[1]].read, False
    for line in sys.stdin:
        asked = json.loads(line)
        paths = [Path(path) for path in asked["paths"]]
        use_weights(asked["weights"])
        if not is_warm:
            read(paths)
            is_warm = True
        print(json.dumps(_answer(read, paths)), flush=True)


if __name__ == "__main__":
    main()
