"""The songs with known form as the bench uses them: rendered, surveyed and measured once, then read from a cache.

The sound is deleted again once a song is surveyed; features, reports, measures and the truth stay. A run that is cut
off goes on where it stopped; a new version of the engine measures again, without the sound.
"""

from __future__ import annotations

import json
import shutil
import time
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

import numpy as np

from analysis import ENGINE_VERSION
from analysis.core.reports import FileReport, SongMeasures
from analysis.features.feature_arrays import Features
from analysis.form.bar_clock import BarClock
from analysis.form.draft import Part
from analysis.maps.tempo_map import MeterSign
from analysis.measuring.song import SongFile, measure_song
from analysis.measuring.survey import survey_file
from analysis.tempo.evidence import Evidence, pool
from bench.form.arrangements import arrange
from bench.form.songs import sound_files, truth_of, write_song


@dataclass(frozen=True)
class KnownSong:
    """One song of the set. `measuring_s` is the processor's time for surveying its files and measuring it."""

    seed: int
    truth: dict[str, Any]
    files: tuple[SongFile, ...]
    measuring_s: float
    measured: SongMeasures = field(default_factory=SongMeasures)

    @property
    def true_clock(self) -> BarClock:
        signs = tuple(MeterSign.parse(sign) for sign in self.truth["meters"])
        return BarClock(np.array(self.truth["downbeats_s"]), signs, np.zeros(len(signs), np.bool_))

    @property
    def music(self) -> Evidence:
        pooled = pool([file.features for file in self.files])
        assert pooled is not None
        return pooled

    @property
    def parts(self) -> list[Part]:
        return [Part(file.report.name, file.features, file.report.drums.present) for file in self.files]

    @property
    def borders(self) -> list[int]:
        """The first bars of all sections but the first, from 0."""
        return [section["start_bar"] - 1 for section in self.truth["sections"][1:]]

    @property
    def labels(self) -> list[str]:
        """Of each bar."""
        return [section["label"] for section in self.truth["sections"] for _ in range(section["bars"])]


def known_songs(seeds: Iterable[int], data: Path) -> Iterator[KnownSong]:
    """Songs of the set, made where the cache lacks them, and measured by this engine."""
    for song in surveyed_songs(seeds, data):
        yield replace(song, **_measured(song, _home(song.seed, data)))


def surveyed_songs(seeds: Iterable[int], data: Path) -> Iterator[KnownSong]:
    """The same, surveyed but not measured: for what is learned on true bars."""
    for seed in seeds:
        home = _home(seed, data)
        if not (home / "truth.json").is_file():
            _survey(seed, home)
        yield _surveyed(seed, home)


def _home(seed: int, data: Path) -> Path:
    return data / "form" / f"song-{seed:04d}"


def _survey(seed: int, home: Path) -> None:
    """The truth is stored last."""
    sound = write_song(seed, home.parent / "sound")
    home.mkdir(parents=True, exist_ok=True)
    start_s = time.process_time()
    for path in sound_files(sound):
        survey = survey_file(path)
        survey.features.save(home / f"{path.stem}.npz")
        (home / f"{path.stem}.report.json").write_text(json.dumps(survey.report.to_json()), "utf-8")
    (home / "survey_s.json").write_text(json.dumps(time.process_time() - start_s), "utf-8")
    shutil.copy(sound / "truth.json", home / "truth.json")
    shutil.rmtree(sound)


def _surveyed(seed: int, home: Path) -> KnownSong:
    files = [
        SongFile(
            FileReport.from_json(json.loads(path.with_suffix("").with_suffix(".report.json").read_text("utf-8"))),
            Features.load(path),
        )
        for path in sorted(home.glob("*.npz"))
    ]
    survey_s = json.loads((home / "survey_s.json").read_text("utf-8"))
    return KnownSong(seed, truth_of(arrange(seed)), tuple(files), survey_s)


def _measured(song: KnownSong, home: Path) -> dict[str, Any]:
    """What this version of the engine measured, kept beside the song until it has another."""
    path = home / "measured.json"
    stored = json.loads(path.read_text("utf-8")) if path.is_file() else {}
    if stored.get("engine") != ENGINE_VERSION:
        start_s = time.process_time()
        report = measure_song(song.files).song.to_json()
        stored = {"engine": ENGINE_VERSION, "song": report, "seconds": time.process_time() - start_s}
        path.write_text(json.dumps(stored) + "\n", "utf-8")
    return {"measured": SongMeasures.from_json(stored["song"]), "measuring_s": song.measuring_s + stored["seconds"]}
