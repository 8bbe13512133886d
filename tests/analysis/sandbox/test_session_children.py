"""Session packs in children: the same answers as in this process, and troubles as sentences."""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path

import pytest

from analysis.core.errors import MapError, UnusableFileError
from analysis.maps.tempo_map import TempoMap
from analysis.sandbox.session_children import conform_in_child, plan_session_in_child
from analysis.session.conform import conform_file
from analysis.session.settings import SessionSettings
from analysis.session.timeline import plan_session
from tests import signals
from tests.analysis.encoded import write_sound

MAP = TempoMap.constant("112.3", "4/4", 0.5)


def test_in_a_child_it_is_the_same(tmp_path: Path) -> None:
    path = write_sound(tmp_path / "bass.wav", signals.noise(duration_s=2.0, sample_rate_hz=44_100), 44_100)
    timeline = plan_session_in_child([path], map=MAP.to_json(), settings=SessionSettings(), lengths_s=[Fraction(2)])
    done = conform_in_child(path, tmp_path / "a.wav", timeline, name="bass.wav", channels=1)

    assert timeline == plan_session([path], MAP, SessionSettings(), lengths_s=[Fraction(2)])
    assert done.sha256 == conform_file(path, tmp_path / "b.wav", timeline, name="bass.wav", out="b.wav").sha256
    assert (tmp_path / "a.wav").read_bytes() == (tmp_path / "b.wav").read_bytes()


def test_troubles_are_sentences(tmp_path: Path) -> None:
    (tmp_path / "notes.txt").write_text("play softly")
    timeline = plan_session([], MAP, SessionSettings())

    with pytest.raises(UnusableFileError, match="is not audio"):
        conform_in_child(tmp_path / "notes.txt", tmp_path / "x.wav", timeline, name="notes", channels=1)
    with pytest.raises(MapError, match="start bar"):
        plan_session_in_child([], map=MAP.to_json(), settings=SessionSettings(start_bar=0), lengths_s=[])
    assert not (tmp_path / "x.wav").exists()


def test_more_than_was_planned_is_not_written(tmp_path: Path) -> None:
    """Two channels where one was measured: over the limit for what a child may write."""
    path = write_sound(tmp_path / "bass.wav", signals.noise(duration_s=60.0, channels=6), format="WAVEX")
    timeline = plan_session([path], MAP, SessionSettings(bit_depth=32))

    with pytest.raises(UnusableFileError):
        conform_in_child(path, tmp_path / "x.wav", timeline, name="bass", channels=1)
    assert not (tmp_path / "x.wav").exists()
