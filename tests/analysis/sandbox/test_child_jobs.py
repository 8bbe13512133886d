"""The child's two jobs, done in this process: what they answer travels as plain JSON."""

import json
import resource
from pathlib import Path

import pytest

from analysis.core.reports import Brief, FileReport, SongReport
from analysis.core.thresholds import Limits
from analysis.sandbox.child_jobs import OPEN_FILES_LIMIT, SongJob, SurveyJob, limit_self
from tests import signals
from tests.analysis.encoded import write_sound


@pytest.fixture
def surveyed(tmp_path: Path) -> SongJob:
    path = write_sound(tmp_path / "bass.wav", signals.noise(duration_s=3.0))
    features = tmp_path / "bass.npz"
    answer = SurveyJob(str(path), "Bass.wav", str(features), Limits().to_json()).do()
    return SongJob([answer], [str(features)], [str(path)], Brief(bpm=112.0).to_json(), Limits().to_json())


def test_a_survey_answers_with_a_report(surveyed: SongJob) -> None:
    answer = json.loads(json.dumps(surveyed.reports[0], allow_nan=False))

    assert FileReport.from_json(answer).name == "Bass.wav"


def test_a_song_answers_with_a_report(surveyed: SongJob) -> None:
    report = SongReport.from_json(json.loads(json.dumps(surveyed.do(), allow_nan=False)))

    assert [file.name for file in report.files] == ["Bass.wav"]


def test_limits_are_set_and_never_above_what_is_allowed(monkeypatch: pytest.MonkeyPatch) -> None:
    set_to: dict[int, tuple[int, int]] = {}
    monkeypatch.setattr(resource, "getrlimit", lambda kind: (100, 100 if kind == resource.RLIMIT_CPU else -1))
    monkeypatch.setattr(resource, "setrlimit", set_to.__setitem__)
    limit_self(memory_limit_bytes=2**30, time_limit_s=1_000.0)

    assert set_to[resource.RLIMIT_AS] == (2**30, 2**30)
    assert set_to[resource.RLIMIT_CPU] == (100, 100)
    assert set_to[resource.RLIMIT_NOFILE] == (OPEN_FILES_LIMIT, OPEN_FILES_LIMIT)
