"""What each tool answered: asked in a process of its own, and kept beside the set until tool or files change."""

from __future__ import annotations

import hashlib
import json
import os
import subprocess
import sys
import tempfile
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import soundfile

from bench.tempo.known import Known
from bench.tempo.readers import TOOLS
from bench.tempo.scores import Reading

ONE_THREAD = dict.fromkeys(("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS", "NUMBA_NUM_THREADS"), "1")


@dataclass(frozen=True)
class Answer:
    """`is_kept`: read in an earlier run, and so timed then."""

    reading: Reading
    cpu_s: float
    peak_mb: float
    is_kept: bool = False


def ask(tool: str, songs: Sequence[Known], folder: Path, folds: Path | None = None) -> list[Answer]:
    """One answer a song, in order. Answers of this very version to these very files are taken from `folder`.

    `folds` holds weights that were fitted without the pattern of the song that is read; only Kitpost has any.
    """
    folder.mkdir(parents=True, exist_ok=True)
    path = folder / f"{tool}.jsonl"
    kept = _read_kept(path)
    weights = [_weights(tool, song, folds) for song in songs]
    keys = [_key(tool, song, fitted) for song, fitted in zip(songs, weights, strict=True)]
    new = [entry for entry in zip(keys, songs, weights, strict=True) if entry[0] not in kept]
    with path.open("a") as file:
        for (key, *_), line in zip(new, _read_all(tool, [entry[1:] for entry in new]), strict=True):
            file.write(json.dumps({"key": key} | line) + "\n")
            file.flush()
            kept[key] = line
    asked = {key for key, *_ in new}
    return [_answer_of(kept[key], is_kept=key not in asked) for key in keys]


def _read_kept(path: Path) -> dict[str, dict[str, Any]]:
    lines = path.read_text().splitlines() if path.exists() else []
    return {line["key"]: line for line in map(json.loads, lines)}


def _weights(tool: str, song: Known, folds: Path | None) -> Path | None:
    if folds is None or not TOOLS[tool].is_fitted or not song.style:
        return None
    from bench.tempo.fit_choice import fold_of

    return folds / f"fold{fold_of({'group': song.group, 'style': song.style})}.json"


def _key(tool: str, song: Known, weights: Path | None) -> str:
    files = [(path.name, path.stat().st_size, path.stat().st_mtime_ns) for path in song.paths]
    fitted = [hashlib.sha256(weights.read_bytes()).hexdigest()] if weights else []
    return json.dumps([TOOLS[tool].version(), song.name, files, *fitted])


def _answer_of(line: dict[str, Any], *, is_kept: bool) -> Answer:
    values: dict[str, Any] = {
        key: tuple(value) if isinstance(value, list) else value for key, value in line["reading"].items()
    }
    return Answer(Reading(**values), line["cpu_s"], line["peak_mb"], is_kept)


def _read_all(tool: str, songs: Sequence[tuple[Known, Path | None]]) -> Iterator[dict[str, Any]]:
    if not songs:
        return
    command = [sys.executable, "-W", "ignore", "-m", "bench.tempo.readers", tool]
    pipes: dict[str, Any] = {"stdin": subprocess.PIPE, "stdout": subprocess.PIPE, "text": True}
    with (
        tempfile.TemporaryDirectory() as mixes,
        tempfile.TemporaryFile("w+") as words,
        subprocess.Popen(command, stderr=words, env=os.environ | ONE_THREAD, **pipes) as reader,
    ):
        assert reader.stdin
        assert reader.stdout
        for song, weights in songs:
            paths = song.paths if TOOLS[tool].takes_stems else (_one_file(song, Path(mixes)),)
            asked = {"paths": [str(path) for path in paths], "weights": str(weights) if weights else None}
            reader.stdin.write(json.dumps(asked) + "\n")
            reader.stdin.flush()
            line = reader.stdout.readline()
            if not line:
                words.seek(0)
                raise SystemExit(f"{tool} broke off at {song.name}: {words.read().strip()[-300:]}")
            yield json.loads(line)


def _one_file(song: Known, folder: Path) -> Path:
    """Stems summed, before the clock runs; a single file as it is."""
    if len(song.paths) == 1:
        return song.paths[0]
    sounds = [soundfile.read(path, dtype="float32", always_2d=True) for path in song.paths]
    mix = np.zeros(max(len(sound) for sound, _ in sounds), np.float32)
    for sound, _ in sounds:
        mix[: len(sound)] += sound.mean(axis=1)
    path = folder / "mix.wav"
    soundfile.write(path, mix / max(1e-9, np.abs(mix).max()) * 0.9, sounds[0][1], subtype="PCM_24")
    return path
