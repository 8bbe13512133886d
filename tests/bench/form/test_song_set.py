"""Songs of the form bench are surveyed once, and measured once by each version of the engine."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from analysis import ENGINE_VERSION
from analysis.core.reports import SongMeasures, SongReport, Tempo
from bench.form import song_set
from bench.form.song_set import known_songs

SEED = 7


def surveyed(data: Path) -> Path:
    """A song without files, as a survey leaves it."""
    home = data / "form" / f"song-{SEED:04d}"
    home.mkdir(parents=True)
    (home / "survey_s.json").write_text("2.0")
    (home / "truth.json").write_text("{}")
    return home


@pytest.mark.parametrize(("engine", "bpm"), [(ENGINE_VERSION, 90.0), ("of another version", 120.0), (None, 120.0)])
def test_a_song_is_measured_again_by_another_engine_only(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, engine: str | None, bpm: float
) -> None:
    kept = surveyed(tmp_path) / "measured.json"
    if engine:
        stored = SongMeasures(tempo=Tempo(kind="constant", bpm=90.0)).to_json()
        kept.write_text(json.dumps({"engine": engine, "song": stored, "seconds": 1.0}))
    now = SongReport(song=SongMeasures(tempo=Tempo(kind="constant", bpm=120.0)))
    monkeypatch.setattr(song_set, "measure_song", lambda files: now)

    (song,) = known_songs([SEED], tmp_path)

    assert song.measured.tempo.bpm == bpm
    assert json.loads(kept.read_text())["engine"] == ENGINE_VERSION
    assert song.measuring_s >= 2.0
