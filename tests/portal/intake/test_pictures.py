from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from django.core.files.base import File
from django.core.files.storage import default_storage
from django.test import Client

from analysis.features import Features
from portal.intake import services
from portal.intake.models import SourceFile
from portal.intake.pictures import picture_of
from tests.factories import make_check, make_client, make_drummer, make_finding, make_song, make_source, measured_song

pytestmark = pytest.mark.django_db


@pytest.fixture
def source(tmp_path: Path) -> SourceFile:
    """A minute whose picture has 6,000 points: quiet, but for one loud point at 30 s."""
    pyramid = np.tile(np.array([[-0.25, 0.25]], np.float32), (6_000, 1))
    pyramid[3_000] = (-1.0, 0.9)
    features = Features(48_000, 2_880_000, band_rate_hz=100, harmony_rate_hz=20, energy_rate_hz=1_000, pyramid=pyramid)
    features.save(tmp_path / "made.npz")
    with (tmp_path / "made.npz").open("rb") as file:
        key = default_storage.save("features/made.npz", File(file))
    return make_source(song=make_song(client=make_client()), features_key=key)


def test_the_picture_is_the_file_s_own(source: SourceFile) -> None:
    picture = picture_of(source)

    assert picture is not None
    level = picture["levels"][0]
    assert (picture["duration_s"], picture["sample_rate_hz"]) == (60.0, 48_000)
    assert level["frames_per_point"] == 480  # 2,880,000 frames over 6,000 points
    assert (level["min"][0], level["max"][0]) == (-0.25, 0.25)
    assert (level["min"][3_000], level["max"][3_000]) == (-1.0, 0.9)


def test_bars_stand_where_the_measured_map_puts_them(source: SourceFile) -> None:
    make_check(song=source.song, report=measured_song(bpm=120.0))

    picture = picture_of(source)

    assert picture is not None
    # At 120 a bar of 4/4 lasts 2 s; bar one is at 2 s, and the file ends at 60 s: bars 1 to 29.
    bars = picture["grid"]["bars"]
    assert [(bar["bar"], bar["time_s"]) for bar in bars] == [(bar, 2.0 * bar) for bar in range(1, 30)]
    assert {bar["beats"] for bar in bars} == {4}


def test_an_approved_map_comes_before_the_measured_one(source: SourceFile) -> None:
    make_check(song=source.song)
    services.overrule(song=source.song, by=make_drummer(), bpm=60, meter="3/4", bar_one_s=3)  # type: ignore[arg-type]

    picture = picture_of(source)

    assert picture is not None
    assert [bar["time_s"] for bar in picture["grid"]["bars"][:3]] == [3.0, 6.0, 9.0]
    assert picture["marks"][0] == {"time_s": 3.0, "end_s": None, "label": "Bar one", "severity": "note"}


def test_marks_are_the_open_findings_of_the_file_and_of_the_song(source: SourceFile) -> None:
    song = source.song
    make_finding(song=song, code="clipped", source=source, place={"time_s": 5.0, "end_s": 6.0})
    make_finding(song=song, code="tempo-changes", place={"time_s": 40.0})
    make_finding(song=song, code="clipped", source=make_source(song=song), place={"time_s": 7.0})
    make_finding(song=song, code="dropout", source=source, place={"time_s": 9.0}, state="resolved")
    make_finding(song=song, code="silent", source=source)

    picture = picture_of(source)

    assert picture is not None
    assert [(mark["label"], mark["time_s"], mark["end_s"]) for mark in picture["marks"]] == [
        ("Clipped peaks", 5.0, 6.0),
        ("Tempo changes", 40.0, None),
    ]


def test_what_was_not_measured_has_no_picture(client: Client) -> None:
    source = make_source(status=SourceFile.Status.RECEIVED, report=None, features_key="")
    client.force_login(make_drummer())

    assert picture_of(source) is None
    assert client.get(f"/files/{source.pk}/wave.json").status_code == 404


def test_the_page_gets_it_as_json(client: Client, source: SourceFile) -> None:
    client.force_login(source.song.booking.members.get().user)

    response = client.get(f"/files/{source.pk}/wave.json")

    assert response.json()["levels"][0]["min"][3_000] == -1.0
    assert "private" in response["Cache-Control"]
