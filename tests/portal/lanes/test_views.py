"""What the lanes are drawn and played from. Bytes and places are known: the file's samples say their own frame."""

from __future__ import annotations

import struct
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from django.core.files import File
from django.core.files.storage import default_storage
from django.template import Context, Template
from django.test import Client
from django.urls import reverse

from analysis.core.reports import FileReport
from analysis.features.feature_arrays import Features
from analysis.features.onsets import FineOnsets
from analysis.maps import PooledAttacks
from portal.bookings.models import Song
from portal.intake.maps import page as map_page
from portal.intake.maps.page import anchors_from, seen_on, start_of
from portal.intake.models import SourceFile
from portal.lanes.sound import MOST_SECONDS
from portal.people.models import User
from tests.factories import make_check, make_finding, make_map, make_song, make_source, measured_song
from tests.portal.intake.reading import read
from tests.portal.lanes.conftest import ramp
from tests.portal.pages import flat

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def signed_in(client: Client, drummer: User) -> None:
    client.force_login(drummer)


def sound(client: Client, source: SourceFile, query: str) -> Any:
    return client.get(f"{reverse('lanes:sound', args=[source.pk])}?{query}")


class TestSound:
    def test_a_part_is_those_frames_and_no_others(self, client: Client, copied: SourceFile) -> None:
        answer = sound(client, copied, "start=47999&frames=1000")
        words = np.frombuffer(answer.content, "<i2").reshape(-1, 2)
        assert np.array_equal(words, ramp()[47_999:48_999])
        assert answer["X-Channels"] == "2"

    def test_mono_is_the_mean(self, client: Client, copied: SourceFile) -> None:
        answer = sound(client, copied, "start=100&frames=50&mono")
        assert np.abs(np.frombuffer(answer.content, "<i2") - ramp()[100:150].mean(axis=1)).max() <= 0.5
        assert answer["X-Channels"] == "1"

    def test_points_are_lowest_and_highest_rounded_outwards(self, client: Client, copied: SourceFile) -> None:
        pairs = np.frombuffer(sound(client, copied, "start=0&frames=10000&points=2").content, np.int8).reshape(-1, 2)
        words = ramp()[:10_000] / 2**15 * 127
        halves = (words[:5_000], words[5_000:])
        assert pairs.tolist() == [[np.floor(half.min()), np.ceil(half.max())] for half in halves]

    @pytest.mark.parametrize(
        ("query", "frames"),
        [
            ("", 0),
            ("start=x&frames=-5", 0),
            ("start=959990&frames=100", 10),
            ("start=99999999&frames=5", 0),
            ("start=0&frames=999999999999", 20 * 48_000),
            ("start=0&frames=99999999999999999999", 0),
        ],
    )
    def test_whatever_is_asked_it_is_bounded(self, client: Client, copied: SourceFile, query: str, frames: int) -> None:
        assert len(sound(client, copied, query).content) == frames * 4
        assert frames <= MOST_SECONDS * 48_000

    def test_no_points_of_nothing(self, client: Client, copied: SourceFile) -> None:
        assert sound(client, copied, "start=0&frames=0&points=10").content == b""

    def test_known_already_it_is_not_sent_again(self, client: Client, copied: SourceFile) -> None:
        tag = sound(client, copied, "start=0&frames=10")["ETag"]
        path = f"{reverse('lanes:sound', args=[copied.pk])}?start=0&frames=10"
        again = client.get(path, headers={"If-None-Match": tag})
        assert (again.status_code, again.content) == (304, b"")

    def test_before_there_is_a_copy_there_is_nothing(self, client: Client, source: SourceFile) -> None:
        assert sound(client, source, "start=0&frames=10").status_code == 404


class TestPyramid:
    def test_it_is_pairs_of_bytes(self, client: Client, source: SourceFile) -> None:
        assert client.get(reverse("lanes:pyramid", args=[source.pk])).status_code == 200

    def test_a_file_without_features_has_none(self, client: Client, song: Song) -> None:
        bare = make_source(song=song, features_key="")
        assert client.get(reverse("lanes:pyramid", args=[bare.pk])).status_code == 404


class TestScore:
    def test_lanes_bars_beats_and_places(self, client: Client, song: Song, copied: SourceFile) -> None:
        """112 BPM, bar one at 2 s: the second beat is at 2 + 60/112 = 2.5357143 s."""
        make_check(song=song)
        finding = make_finding(song=song, source=copied, code="clipped", place={"time_s": 3.5, "end_s": 4.0})
        found = client.get(reverse("lanes:lanes", args=[song.pk])).json()
        lane = found["lanes"][0]
        assert (lane["id"], lane["frames"], lane["sample_rate_hz"]) == (copied.pk, 20 * 48_000, 48_000)
        assert lane["marks"][0] == {
            "id": finding.pk,
            "time_s": 3.5,
            "end_s": 4.0,
            "label": "Clipped peaks",
            "severity": "stop",
        }
        assert found["beats_s"][:2] == [[2.0, 1], [2.5357143, 0]]
        assert found["bars"][1]["time_s"] == pytest.approx(2 + 240 / 112)

    def test_the_click_is_silent_where_the_map_is_free(self, client: Client, song: Song, copied: SourceFile) -> None:
        """Of 20 s: 4 beats of 0.5 s, free from 2 s to 8 s but for the counted bar from 6 s, then in time to the end."""
        approved = make_map(song=song, bpm=120.0, bar_one_s=0.0)
        approved.map["segments"] += [
            {"bar": 2, "time_s": 2.0, "bpm": 40.0, "meter": "4/4", "free": True},
            {"bar": 3, "time_s": 8.0, "bpm": 120.0, "meter": "4/4"},
        ]
        approved.save()
        found = client.get(reverse("lanes:lanes", args=[song.pk])).json()
        assert found["beats_s"] == [
            [0.5 * beat, 0 if beat % 4 else 1] for beat in (*range(4), *range(12, round(found["duration_s"] * 2)))
        ]
        assert [bar.get("free") for bar in found["bars"][:3]] == [None, True, None]

    def test_the_client_s_own_click_is_told_by_the_song_s_check(
        self, client: Client, song: Song, copied: SourceFile
    ) -> None:
        """The survey of one file does not know; two clicks at once would hide each other."""
        told = FileReport(name=copied.name, sha256=copied.sha256, is_click=True)
        make_check(song=song, report=replace(measured_song(), files=(told,)))
        found = client.get(reverse("lanes:lanes", args=[song.pk])).json()
        assert found["lanes"][0]["is_click"] is True

    def test_without_files_the_sheet_has_no_score(self, client: Client, song: Song) -> None:
        assert 'id="lanes"' not in read(client, f"/songs/{song.pk}/sheet/")
        assert client.get(reverse("lanes:lanes", args=[song.pk])).json()["lanes"] == []

    def test_without_a_map_there_are_no_bars(self, client: Client, drummer: User) -> None:
        song = make_song()
        make_source(song=song)
        found = client.get(reverse("lanes:lanes", args=[song.pk])).json()
        assert (found["bars"], found["beats_s"], found["sections"]) == ([], [], [])

    def test_the_same_stands_in_words_on_the_sheet(self, song: Song, copied: SourceFile) -> None:
        make_finding(song=song, source=copied, code="clipped", place={"time_s": 3.5})
        page = flat(Template("{% load lanes_parts %}{% sheet_lanes song %}").render(Context({"song": song})))
        assert "Clipped peaks at 0:03.5" in page
        assert 'data-go-s="3.500000"' in page


class TestOnsets:
    def test_attacks_are_sent_in_microseconds_and_bass_notes_are_not(
        self, client: Client, source: SourceFile, tmp_path: Path
    ) -> None:
        fine = FineOnsets(
            np.array([0.5, 1.25, 2.0]), np.array([1.0, 0.2, 0.6], np.float32), np.array([0, 1, 0], np.uint8)
        )
        Features(48_000, 48_000, 100.0, 20.0, 1000.0, fine=fine).save(tmp_path / "features.npz")
        with (tmp_path / "features.npz").open("rb") as file:
            source.features_key = default_storage.save("features/onsets.npz", File(file))
        source.save(update_fields=["features_key"])

        answer = client.get(reverse("lanes:onsets", args=[source.pk]))

        assert struct.unpack("<I2I2B", answer.content) == (2, 500_000, 2_000_000, 255, 153)

    def test_what_was_not_measured_has_none(self, client: Client, song: Song) -> None:
        unmeasured = make_source(song=song, features_key="")
        assert client.get(reverse("lanes:onsets", args=[unmeasured.pk])).status_code == 404


def test_the_score_says_of_each_bar_what_the_map_page_says(
    client: Client, song: Song, source: SourceFile, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Approved at 112 with bar one at 2 s: the half beats of bar 2 begin at 2 + 240/112 s. Its attacks are 12 ms late,
    the weak one that is not weighs too little to say so."""
    bar_two_s, half_s = 2 + 240 / 112, 30 / 112
    played = bar_two_s + half_s * np.arange(3) + np.array([0.012, 0.012, -0.05])
    monkeypatch.setattr(map_page, "attacks_of", lambda _: PooledAttacks(played, np.array([1.0, 1.0, 0.2])))
    seen = seen_on(song, *anchors_from(start_of(song)))

    told = client.get(reverse("lanes:lanes", args=[song.pk])).json()
    bars = client.get(told["playing"]).json()["bars"]

    assert bars == seen["bars"]
    assert [line["time_s"] for line in told["bars"]] == [line["time_s"] for line in bars]
    assert [(line["late_ms"], line["attacks"]) for line in bars[:3]] == [(None, 0), (12.0, 3), (None, 0)]
