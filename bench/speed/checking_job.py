"""The measuring itself, in a house of its own (`bench/speed/checking.py`)."""

from __future__ import annotations

import tempfile
from collections.abc import Iterator
from pathlib import Path

import numpy as np
from django.core.management import call_command

from analysis.measuring import survey_file
from bench.speed.transactions import database_name, measuring
from portal.bookings.models import Song

RATE_HZ, LENGTH_S = 48_000, 0.05


def measure(files: int) -> None:
    from portal.celery import load_addresses
    from portal.intake.checks import jobs
    from portal.people.models import House

    call_command("migrate", verbosity=0, interactive=False)
    House.get()
    House.objects.update(quiet_after_files_s=0)
    load_addresses()  # as a worker does when it starts
    print(f"\nCheck: a song of {files} files, on {database_name()}", flush=True)
    for what, contents in (("short noises", noises(files)), ("files that are no sound", no_sounds(files))):
        song = song_of(contents)
        for again in ("the last survey and the first check", "a file more, and the check again"):
            last = waiting_file(song, next(noises(1)))
            with measuring() as measured:
                jobs.survey(last)
                jobs.measure(song.pk)
            found = song.findings.open().count()
            print(f"  {what}, {again}: {measured.took_s:.1f} s, {found} findings open")
            measured.tell()


def noises(number: int) -> Iterator[bytes]:
    from tests.factories import wav_bytes

    sound = np.random.default_rng(number)
    for _ in range(number):
        yield wav_bytes(0.1 * sound.standard_normal((int(LENGTH_S * RATE_HZ), 1)), RATE_HZ)


def no_sounds(number: int) -> Iterator[bytes]:
    return (b"no sound at all, %d" % at for at in range(number))


def song_of(contents: Iterator[bytes]) -> Song:
    """Each file is surveyed here: a child process for each would only take time."""
    from portal.bookings.stages import SongStage
    from portal.intake.files.stored_features import store_features
    from portal.intake.models import SourceFile
    from tests.factories import make_client, make_song

    song = make_song(client=make_client(), stage=SongStage.CHECKING)
    with tempfile.TemporaryDirectory() as folder:
        original, features = Path(folder, "a.wav"), Path(folder, "a.npz")
        for at, content in enumerate(contents):
            source = SourceFile.objects.get(pk=waiting_file(song, content, name=f"file {at}.wav"))
            original.write_bytes(content)
            surveyed = survey_file(original, name=source.name)
            surveyed.features.save(features)
            report = surveyed.report.to_json()
            if surveyed.report.duration_s is None:
                source.refuse(reason="It is no sound.", report=report)
            else:
                source.store_report(report, features_key=store_features(source, features))
    return song


def waiting_file(song: Song, content: bytes, *, name: str = "one more.wav") -> int:
    from portal.intake.models import SourceFile
    from tests.factories import make_source, store_content

    sha256 = store_content(content)
    key = f"originals/{sha256[:2]}/{sha256}"
    sent = {"sha256": sha256, "key": key, "size_bytes": len(content)}
    return make_source(song=song, name=name, status=SourceFile.Status.RECEIVED, report=None, **sent).pk
