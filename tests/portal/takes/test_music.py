"""Which files are the music, and their sum."""

from __future__ import annotations

import pytest
from django.core.files.storage import default_storage
from django.utils import timezone

from portal.bookings.models import Song
from portal.intake.models import SourceFile
from portal.takes import music, tasks
from portal.takes.models import MusicCopy
from tests import signals
from tests.factories import make_song, make_source, store_content, wav_bytes

pytestmark = pytest.mark.django_db


def names(song: Song) -> list[str]:
    return sorted(source.name for source in music.music_files(song))


@pytest.mark.parametrize(
    ("files", "heard"),
    [
        (["bass.wav", "keys.wav", "click.wav", "drums.wav", "rough mix.wav"], ["bass.wav", "keys.wav"]),
        (["vocal.wav", "rough mix.wav"], ["rough mix.wav"]),
        (["mix no drums.wav", "mix.wav", "bass.wav", "keys.wav"], ["mix no drums.wav"]),
        (["mix without vocals.wav", "click.wav"], ["mix without vocals.wav"]),
        (["click.wav", "drums.wav"], []),
    ],
)
def test_drums_and_clicks_are_left_out_where_there_is_other_music(files: list[str], heard: list[str]) -> None:
    song = make_song()
    for name in files:
        make_source(song=song, name=name)
    assert names(song) == heard


def sounding(song: Song, name: str, **fields: object) -> SourceFile:
    sha256 = store_content(wav_bytes(signals.tone(duration_s=1.0, channels=2)))
    return make_source(song=song, name=name, sha256=sha256, key=f"originals/{sha256[:2]}/{sha256}", **fields)


def test_the_sum_is_made_once_anew_for_other_files_and_goes_with_the_originals() -> None:
    song = make_song()
    bass = sounding(song, "bass.wav")
    copy = music.ask_for_music(song)
    assert copy is not None
    assert music.ask_for_music(song) == copy
    for _ in range(2):
        tasks.make_music(copy.pk)
    copy.refresh_from_db()
    assert (copy.state, copy.frames, copy.sample_rate_hz, copy.names) == ("made", 48_000, 48_000, ["bass.wav"])
    assert copy.loudness_lufs is not None
    assert default_storage.exists(copy.key)

    sounding(song, "keys.wav")
    assert music.ask_for_music(song) is not None
    tasks.make_music(copy.pk)
    first_key = copy.key
    copy.refresh_from_db()
    assert copy.names == ["bass.wav", "keys.wav"]
    assert copy.key != first_key
    assert not default_storage.exists(first_key)

    SourceFile.objects.update(gone_at=timezone.now())
    music.clear_gone()
    assert not MusicCopy.objects.exists()
    assert not default_storage.exists(copy.key)
    assert bass.name == "bass.wav"


def test_music_that_cannot_be_made_says_why() -> None:
    song = make_song()
    sha256 = store_content(b"no sound at all")
    make_source(song=song, name="bass.wav", key=f"originals/{sha256[:2]}/{sha256}")
    copy = music.ask_for_music(song)
    assert copy is not None
    tasks.make_music(copy.pk)
    copy.refresh_from_db()
    assert (copy.state, copy.trouble) == ("failed", "made the decoder fail")
