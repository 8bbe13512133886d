from __future__ import annotations

import hashlib
from datetime import UTC, datetime

import pytest

from portal.delivery.models import Delivery, DeliveryFile
from portal.delivery.names import fold
from portal.delivery.sheet.papers import hash_list
from portal.delivery.sheet.text import sheet_text
from tests.factories import make_delivery, make_map, make_song, make_track

pytestmark = pytest.mark.django_db

FACTS = {"sample_rate_hz": 48_000, "bit_depth": 24, "channels": 1, "frames": 11_520_000}


def test_the_sheet_says_all_that_a_session_wants_to_know() -> None:
    """112 BPM, bar one 2 s into the files: frame 96 000 at 48 kHz (Source: arithmetic)."""
    song = make_song(title="Cold Bus Under Spoons")
    make_map(song=song)
    delivery = make_delivery(
        song=song, perspective=Delivery.Perspective.AUDIENCE, released_at=datetime(2026, 11, 25, 9, 0, tzinfo=UTC)
    )
    make_track(
        delivery=delivery,
        name="KickIn.wav",
        facts=FACTS,
        microphone="dynamic, inside",
        polarity=DeliveryFile.Polarity.FLIPPED,
        take="3",
        note="second half is take 4",
    )
    sheet = sheet_text(delivery, list(delivery.files.all()))

    for line in (
        "Song:           Cold Bus Under Spoons",
        "Delivery:       1",
        "Released:       25 November 2026, 09:00 UTC",
        "Sample rate:    48000 Hz",
        "Bit depth:      24 bit",
        "Length:         11520000 frames",
        "Left and right: as the audience sees the kit",
        "from bar 1, at 2.000000 s: 112.00000 bpm in 4/4",
        "bar one at 2.000000 s: frame 96000 at 48000 Hz, counted from 0",
        "  1. KickIn.wav",
        "     kick, inside; mono; microphone: dynamic, inside; polarity: flipped; take: 3",
        "     second half is take 4",
    ):
        assert line in sheet.splitlines()


def test_the_sheet_says_what_is_free() -> None:
    """Bars 5 to 8 take 10 s: 16 beats, so a programme counts them at 96 (Source: arithmetic)."""
    song = make_song()
    approved = make_map(song=song, bpm=120.0, bar_one_s=0.0)
    approved.map["segments"] += [
        {"bar": 5, "time_s": 8.0, "bpm": 96.0, "meter": "4/4", "free": True},
        {"bar": 9, "time_s": 18.0, "bpm": 120.0, "meter": "4/4"},
    ]
    approved.save()
    lines = sheet_text(make_delivery(song=song), []).splitlines()

    assert "from bar 5, at 8.000000 s: free (counted at 96.00000 bpm in 4/4)" in lines
    assert "from bar 9, at 18.000000 s: 120.00000 bpm in 4/4" in lines


def test_compound_time_names_the_note_that_the_tempo_counts() -> None:
    delivery = make_delivery(song=make_song())
    make_map(song=delivery.song, bpm=70.0, meter="6/8")

    assert "70.00000 bpm (dotted quarter) in 6/8" in sheet_text(delivery, [])


def test_what_nobody_said_is_called_so() -> None:
    delivery = make_delivery()
    make_track(delivery=delivery)
    sheet = sheet_text(delivery, list(delivery.files.all()))
    assert "Released:       not yet" in sheet
    assert "Sample rate:    not stated" in sheet
    assert "no tempo map was approved" in sheet
    assert "microphone: not stated; polarity: not stated; take: not stated" in sheet


def test_the_hash_list_is_what_common_tools_check() -> None:
    delivery = make_delivery()
    make_track(delivery=delivery, name="a.wav", content=b"one")
    assert hash_list(list(delivery.files.all())) == f"{hashlib.sha256(b'one').hexdigest()}  a.wav\n"


@pytest.mark.parametrize(
    ("one", "other"),
    [("Kick.wav", "kick.WAV"), ("Perch\u00e9.wav", "perche\u0301.wav"), ("STRASSE.wav", "straße.wav")],
)
def test_names_that_some_disk_takes_for_one_are_one(one: str, other: str) -> None:
    assert fold(one) == fold(other)


def test_names_that_differ_stay_two() -> None:
    assert fold("Tom1.wav") != fold("Tom2.wav")
