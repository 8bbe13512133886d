from __future__ import annotations

from decimal import Decimal

import pytest

from portal.bookings.models import Song
from portal.intake.checks.inputs import gather, said_in
from portal.intake.models import SourceFile
from tests.factories import make_song, make_source

pytestmark = pytest.mark.django_db


@pytest.fixture
def song() -> Song:
    song = make_song()
    make_source(song=song)
    return song


def fingerprint(song: Song) -> str:
    gathered = gather(Song.objects.get(pk=song.pk))
    assert gathered is not None
    return gathered.fingerprint


def test_the_same_files_and_brief_have_one_fingerprint(song: Song) -> None:
    assert fingerprint(song) == fingerprint(song)


def test_a_file_more_a_file_less_or_another_tempo_has_another(song: Song) -> None:
    seen = {fingerprint(song)}
    other = make_source(song=song)
    seen.add(fingerprint(song))
    refused = make_source(song=song, status=SourceFile.Status.REFUSED)
    seen.add(fingerprint(song))
    song.brief.bpm = Decimal(112)
    song.brief.save()
    seen.add(fingerprint(song))
    assert len(seen) == 4

    other.leave(SourceFile.Left.REMOVED)
    refused.leave(SourceFile.Left.REMOVED)
    song.brief.bpm = None
    song.brief.save()
    assert fingerprint(song) in seen


def test_what_measuring_does_not_weigh_changes_nothing(song: Song) -> None:
    before = fingerprint(song)
    song.brief.notes = "Brushes, please."
    song.brief.save()

    assert fingerprint(song) == before


def test_while_a_file_is_to_be_surveyed_there_is_nothing_to_check(song: Song) -> None:
    make_source(song=song, status=SourceFile.Status.RECEIVED)

    assert gather(song) is None


def test_the_brief_is_given_as_the_engine_reads_it(song: Song) -> None:
    brief = song.brief
    brief.bpm, brief.meter, brief.starts, brief.count_in_bars, brief.click = (
        Decimal("92.5"),
        "6/8",
        "count-in",
        2,
        "make-map",
    )
    brief.save()

    said = said_in(song)

    assert (said.bpm, said.meter, said.starts, said.count_in_bars, said.make_map) == (
        92.5,
        "6/8",
        "count-in",
        2.0,
        True,
    )


def test_a_song_without_a_brief_says_nothing() -> None:
    song = make_song()
    song.brief.delete()

    assert said_in(song).bpm is None
