"""How far a stated tempo is from the measured one, and what files state; expected words are subtraction."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal

import pytest
from django.test import Client

from analysis.core.reports import FileReport, Meter
from portal.bookings.models import Song
from portal.intake.checks.tempo_claims import FileSays, apart_words, files_say
from portal.people.models import User
from tests.factories import make_check, make_source, measured_song
from tests.portal.intake.reading import read

pytestmark = pytest.mark.django_db


@pytest.mark.parametrize(
    ("said", "measured", "words"),
    [
        (112.0, 112.0004, "as measured"),
        (Decimal("112.4"), 112.0, "0.4 bpm faster than measured"),
        (111, 112.004, "1.004 bpm slower than measured"),
        (224, 112.1, "twice the measured 112.1 bpm"),
        (Decimal(56), 112.0, "half of the measured 112 bpm"),
        (None, 112.0, ""),
        (112.0, None, ""),
    ],
)
def test_the_distance_is_said_in_words(said: float | Decimal | None, measured: float | None, words: str) -> None:
    assert apart_words(said, measured_song(bpm=measured).song) == words


@pytest.mark.parametrize(
    ("said", "words"),
    [
        (140, "twice the measured 70 bpm (dotted quarter)"),
        (72, "2 bpm (dotted quarter) faster than measured"),
        (70, "as measured"),
    ],
)
def test_in_compound_time_the_note_that_was_measured_is_named(said: float, words: str) -> None:
    """6/8 is felt in two dotted quarters (common practice)."""
    song = replace(measured_song(bpm=70.0).song, meter=Meter(6, 8, 0.9))

    assert apart_words(said, song) == words


@pytest.mark.parametrize(
    ("says", "words"),
    [
        (FileSays("map.mid", "MIDI file", 70.0, "6/8"), "70 bpm (dotted quarter)"),
        (FileSays("map.mid", "MIDI file", 68.5, "6/8", highest_bpm=72.0), "68.5 to 72 bpm (dotted quarter)"),
        (FileSays("bass 70bpm.wav", "file name", 70.0), "70 bpm"),
    ],
)
def test_a_file_names_the_note_only_where_it_has_a_meter(says: FileSays, words: str) -> None:
    assert says.tempo == words


def metadata_of(**said: object) -> dict[str, object]:
    return FileReport(name="x", sha256="", metadata=dict(said)).to_json()


@pytest.fixture
def said_song(song: Song) -> Song:
    make_source(song=song, name="map.mid", report=metadata_of(midi_bpm=112.5, midi_meter="3/4"))
    make_source(song=song, name="bass 112bpm.wav", report=metadata_of(name_bpm=112.0))
    click = FileReport(name="click.wav", sha256="", is_click=True)
    make_source(song=song, name="click.wav", report=click.to_json())
    report = measured_song()
    tempo = replace(report.song.tempo, source="click")
    make_check(song=song, report=replace(report, files=(click,), song=replace(report.song, tempo=tempo)))
    return song


def test_click_midi_and_names_each_have_their_word(said_song: Song) -> None:
    said = files_say(list(said_song.sources.current()), said_song.checks.done().first())
    assert said[0] == FileSays("click.wav", "click", 112.0, "4/4")
    assert set(said[1:]) == {
        FileSays("map.mid", "MIDI file", 112.5, "3/4"),
        FileSays("bass 112bpm.wav", "file name", 112.0, ""),
    }


def test_a_midi_file_that_moves_says_its_lowest_and_highest_and_every_meter(song: Song) -> None:
    segments = [
        {"bar": 1, "time_s": 0.0, "bpm": 104.0, "meter": "4/4"},
        {"bar": 9, "time_s": 32 * 60 / 104, "bpm": 97.5, "meter": "3/4"},
    ]
    report = metadata_of(midi_map={"bar_one_s": 0.0, "segments": segments}, midi_meter="4/4")
    make_source(song=song, name="map.mid", report=report)
    moving = FileSays("map.mid", "MIDI file", 97.5, "4/4, 3/4", highest_bpm=104.0)
    assert files_say(list(song.sources.current()), None) == [moving]


def test_a_broken_midi_map_says_nothing(song: Song) -> None:
    make_source(song=song, name="map.mid", report=metadata_of(midi_map={"segments": []}))
    assert files_say(list(song.sources.current()), None) == []


def test_where_no_file_names_a_meter_its_place_has_a_dash(client: Client, signed_in: User, song: Song) -> None:
    make_source(song=song, name="bass 112bpm.wav", report=metadata_of(name_bpm=112.0))
    make_check(song=song, report=measured_song())
    page = read(client, f"/songs/{song.pk}/sheet/")
    row = page.split('<th scope="row">Meter</th>')[1].split("</tr>")[0]
    assert '<td data-label="Click, MIDI, names"> <div> – </div> </td>' in row


def test_the_sheet_shows_them_beside_the_others(client: Client, signed_in: User, said_song: Song) -> None:
    page = read(client, f"/songs/{said_song.pk}/sheet/")
    assert "Click, MIDI, names" in page
    assert "0.5 bpm faster than measured" in page
    assert "map.mid" in page


def test_two_files_of_clicks_say_one_tempo(said_song: Song) -> None:
    make_source(
        song=said_song, name="click 2.wav", report=FileReport(name="click 2.wav", sha256="", is_click=True).to_json()
    )
    check = said_song.checks.done().get()
    files = (*check.numbers.files, FileReport(name="click 2.wav", sha256="", is_click=True))
    make_check(song=said_song, report=replace(check.numbers, files=files))
    said = files_say(list(said_song.sources.current()), said_song.checks.done().first())
    assert [one.file for one in said if one.how == "click"] == ["click.wav”, “click 2.wav"]


def test_without_a_check_nothing_is_said_of_clicks(song: Song) -> None:
    assert files_say(list(song.sources.current()), None) == []
