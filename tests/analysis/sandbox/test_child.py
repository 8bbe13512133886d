"""The child's limits hold, and whatever ends it becomes a report."""

import json
import logging
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pytest

from analysis.core.errors import SongNotMeasuredError
from analysis.core.reports import Brief
from analysis.delivery.verify import verify_set
from analysis.features.feature_arrays import Features
from analysis.measuring.survey import survey_file
from analysis.sandbox import child
from analysis.sandbox.child import measure_song_in_child, survey_in_child, verify_set_in_child, write_proxy_in_child
from analysis.sandbox.starting import MEASURING_ENVIRONMENT
from tests import signals
from tests.analysis.encoded import write_sound
from tests.analysis.sandbox.conftest import LineToChildren


def test_gives_what_the_survey_gives(tmp_path: Path) -> None:
    path = write_sound(tmp_path / "bass.wav", signals.noise(duration_s=2.0))
    report = survey_in_child(path, name="Bass DI.wav", features_to=tmp_path / "bass.npz")

    here = survey_file(path, name="Bass DI.wav").report
    # The matrix library sums as this process's environment tells it, of which the child gets nothing.
    assert report.loudness_lufs == pytest.approx(here.loudness_lufs)
    assert report.dc_error == pytest.approx(here.dc_error, rel=1e-6)
    assert replace(report, loudness_lufs=here.loudness_lufs, dc_error=here.dc_error) == here
    assert Features.load(tmp_path / "bass.npz").frames == 96_000


def test_what_is_no_sound_is_said(tmp_path: Path) -> None:
    path = tmp_path / "bass.wav"
    path.write_bytes(b"\x7fELF" + bytes(100))
    report = survey_in_child(path, name="bass.wav", features_to=tmp_path / "bass.npz")

    assert [finding.code for finding in report.findings] == ["not-audio"]
    assert len(report.sha256) == 64


def test_time_is_limited(tmp_path: Path) -> None:
    path = write_sound(tmp_path / "bass.wav", signals.noise())
    report = survey_in_child(path, name="bass.wav", features_to=tmp_path / "bass.npz", time_limit_s=1e-6)

    assert [finding.code for finding in report.findings] == ["unreadable"]
    assert report.frames is None


def test_memory_is_limited(tmp_path: Path, caplog: pytest.LogCaptureFixture) -> None:
    caplog.set_level(logging.CRITICAL)
    path = write_sound(tmp_path / "bass.wav", signals.noise())
    report = survey_in_child(path, name="bass.wav", features_to=tmp_path / "bass.npz", memory_limit_bytes=120 * 2**20)

    assert [finding.code for finding in report.findings] == ["unreadable"]


def test_a_song_is_measured_from_reports_and_features(tmp_path: Path) -> None:
    files = []
    for seed, name in enumerate(("bass", "keys")):
        path = write_sound(tmp_path / f"{name}.wav", signals.noise(duration_s=3.0, seed=seed))
        features_to = tmp_path / f"{name}.npz"
        files.append((survey_in_child(path, name=path.name, features_to=features_to), features_to, path))
    song = measure_song_in_child(files, Brief(bpm=112.0))

    assert [report.name for report in song.files] == ["bass.wav", "keys.wav"]


def test_a_song_whose_sound_is_gone_is_measured_from_features(tmp_path: Path) -> None:
    path = write_sound(tmp_path / "bass.wav", signals.noise(duration_s=3.0))
    report = survey_in_child(path, name="bass.wav", features_to=tmp_path / "bass.npz")
    path.write_bytes(b"")
    song = measure_song_in_child([(report, tmp_path / "bass.npz", path)] * 2, Brief())

    assert len(song.files) == 2


def test_a_set_that_takes_too_long_is_a_failed_check(tmp_path: Path) -> None:
    path = write_sound(tmp_path / "KickIn.wav", signals.noise())
    report = verify_set_in_child([path], time_limit_s=1e-6)

    assert [(check.code, check.passed) for check in report.checks] == [("checked", False)]
    assert "took more than" in report.checks[0].message


def test_a_set_is_checked_as_without_a_child(tmp_path: Path) -> None:
    paths = [
        write_sound(tmp_path / f"{name}.wav", signals.noise(seed=seed)) for seed, name in enumerate(("Kick", "Hat"))
    ]

    assert verify_set_in_child(paths) == verify_set(paths)


def test_a_copy_for_the_browser_that_cannot_be_made_says_why(tmp_path: Path) -> None:
    path = write_sound(tmp_path / "mix.wav", signals.noise())

    assert write_proxy_in_child(path, tmp_path / "mix.flac") is None
    assert (tmp_path / "mix.flac").stat().st_size > 0
    path.write_bytes(b"RIFF")
    assert write_proxy_in_child(path, tmp_path / "again.flac") == "made the decoder fail"


def test_features_that_are_gone_are_an_error_and_not_silence(tmp_path: Path) -> None:
    path = write_sound(tmp_path / "bass.wav", signals.noise())
    features = tmp_path / "bass.npz"
    report = survey_in_child(path, name="bass.wav", features_to=features)
    features.unlink()

    with pytest.raises(SongNotMeasuredError):
        measure_song_in_child([(report, features, path)], Brief())


@pytest.fixture
def taken_over(monkeypatch: pytest.MonkeyPatch, children_that: LineToChildren) -> Callable[[str], None]:
    return lambda program: monkeypatch.setattr(child, "LINE", children_that(program))


@pytest.mark.parametrize(
    "answer",
    [
        "'not json'",
        "'[]'",
        "'{}'",
        """'{"name": "x", "sha256": 5, "clipped": 3}'""",
        """'{"name": "x", "sha256": "", "frames": NaN}'""",
        "'[' * 100_000",
        "'\"' + 'x' * 3 * 2**20 + '\"'",
    ],
)
def test_an_answer_of_another_form_is_none(tmp_path: Path, taken_over: Callable[[str], None], answer: str) -> None:
    path = write_sound(tmp_path / "bass.wav", signals.noise())
    taken_over(f"open(order['answer_to'], 'w').write({answer})")
    report = survey_in_child(path, name="bass.wav", features_to=tmp_path / "f.npz")

    assert [finding.code for finding in report.findings] == ["unreadable"]


def test_what_no_database_keeps_is_taken_out_of_an_answer(tmp_path: Path, taken_over: Callable[[str], None]) -> None:
    path = write_sound(tmp_path / "bass.wav", signals.noise())
    answer = json.dumps({"name": "bass.wav", "sha256": "0", "metadata": {"title": "a\0b\ud800"}})
    taken_over(f"open(order['answer_to'], 'w').write({answer!r})")
    report = survey_in_child(path, name="bass.wav", features_to=tmp_path / "f.npz")

    assert report.metadata == {"title": "ab\ufffd"}


@pytest.mark.parametrize("link", ["os.symlink", "os.link"])
def test_a_link_in_an_outputs_place_leads_nowhere(tmp_path: Path, taken_over: Callable[[str], None], link: str) -> None:
    secret, copy = tmp_path / "secret", tmp_path / "copy.flac"
    secret.write_text("kept")
    taken_over(
        f"os.unlink(order['output_to']); {link}({str(secret)!r}, order['output_to']); "
        "open(order['answer_to'], 'w').write('{}')",
    )
    write_proxy_in_child(write_sound(tmp_path / "mix.wav", signals.noise()), copy)

    assert not copy.exists()


def test_a_link_in_the_complaints_place_is_not_read(
    tmp_path: Path, taken_over: Callable[[str], None], caplog: pytest.LogCaptureFixture
) -> None:
    secret = tmp_path / "secret"
    secret.write_text("kept")
    taken_over(f"os.unlink('complaints'); os.symlink({str(secret)!r}, 'complaints'); sys.exit(1)")
    write_proxy_in_child(write_sound(tmp_path / "mix.wav", signals.noise()), tmp_path / "copy.flac")

    assert [record.getMessage() for record in caplog.records] == ["child ended with 1: "]


def test_a_flood_of_complaints_stays_out_of_memory(
    tmp_path: Path, taken_over: Callable[[str], None], caplog: pytest.LogCaptureFixture
) -> None:
    taken_over("sys.stderr.write('x' * 10_000_000 + 'the end'); sys.exit(1)")
    write_proxy_in_child(write_sound(tmp_path / "mix.wav", signals.noise()), tmp_path / "copy.flac")

    [record] = caplog.records
    assert record.getMessage().endswith("the end")
    assert len(record.getMessage()) < 3_000


def test_complaints_forge_no_line_of_the_log_and_reach_no_terminal(
    tmp_path: Path, taken_over: Callable[[str], None], caplog: pytest.LogCaptureFixture
) -> None:
    """ESC [ 2 J clears a screen (ECMA-48)."""
    taken_over("sys.stderr.write('bad\\n2026-11-30 ERROR all is lost\\n\\x1b[2J'); sys.exit(1)")
    write_proxy_in_child(write_sound(tmp_path / "mix.wav", signals.noise()), tmp_path / "copy.flac")

    [record] = caplog.records
    assert record.getMessage().splitlines()[1:] == ["  | bad", "  | 2026-11-30 ERROR all is lost", "  | [2J"]


def test_nothing_of_the_environment_reaches_the_child(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, taken_over: Callable[[str], None]
) -> None:
    monkeypatch.setenv("KITPOST_SECRET_KEY", "kept")
    taken_over("print(*os.environ, file=sys.stderr); sys.exit(1)")
    path = write_sound(tmp_path / "mix.wav", signals.noise())
    with pytest.MonkeyPatch.context() as patched:
        said: list[str] = []
        patched.setattr(child.logger, "warning", lambda *words: said.append(str(words[-1])))
        write_proxy_in_child(path, tmp_path / "copy.flac")

    expected = {"PATH", "PYTHONPATH", "LANG", "TMPDIR"} | set(MEASURING_ENVIRONMENT)
    assert set(said[0].split()) - {"|", "LC_CTYPE"} == expected
