"""A check that stops: what the drummer sees, and that *Check again* mends it."""

from __future__ import annotations

import re

import pytest
from django.core.files.base import ContentFile
from django.core.files.storage import default_storage
from django.test import Client
from pytest_django import DjangoCaptureOnCommitCallbacks

from analysis.core.errors import SongNotMeasuredError
from portal.bookings.models import Song
from portal.bookings.stages import SongStage
from portal.intake import tasks
from portal.intake.checks import jobs
from portal.intake.models import SourceFile
from portal.people.models import User
from tests.analysis.sandbox.conftest import children, measured_by
from tests.factories import make_check, make_client, make_song, make_source
from tests.portal.intake.reading import read
from tests.portal.intake.sending import click_wav, send

pytestmark = pytest.mark.django_db


def sheet(client: Client, song: Song) -> str:
    return re.sub(r"\s+", " ", read(client, f"/songs/{song.pk}/sheet/"))


@pytest.mark.child
def test_a_child_that_crashed_is_said_on_the_sheet_and_check_again_mends_it(
    client: Client,
    signed_in: User,
    django_capture_on_commit_callbacks: DjangoCaptureOnCommitCallbacks,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """A real file, and a real child that crashes before it has measured."""
    song = make_song(client=make_client(), bpm="112")
    with monkeypatch.context() as patched:
        patched.setattr(tasks.measure_song, "delay", lambda _: None)
        send(client, song, ("click.wav", click_wav()), then=django_capture_on_commit_callbacks)
    with measured_by(children("os.kill(os.getpid(), 11)")), pytest.raises(SongNotMeasuredError):
        jobs.measure(song.pk)
    song.refresh_from_db()
    page = sheet(client, song)
    assert song.stage == SongStage.ON_DESK
    assert "Not measured" in page
    assert "it made the decoder fail. There are no values yet." in page

    with django_capture_on_commit_callbacks(execute=True):
        client.post(f"/songs/{song.pk}/check/")

    song.refresh_from_db()
    assert "Not measured" not in sheet(client, song)
    assert song.stage in (SongStage.ON_DESK, SongStage.WITH_CLIENT)
    assert song.checks.done().get().numbers.song.tempo.bpm == pytest.approx(112, abs=0.02)


def test_figures_of_the_check_before_are_said_to_be_old(client: Client, signed_in: User, song: Song) -> None:
    make_check(song=song)
    spoilt = default_storage.save("features/spoilt.npz", ContentFile(b"no features"))
    make_source(song=song, name="late.wav", features_key=spoilt)
    with pytest.raises(SongNotMeasuredError):
        jobs.measure(song.pk)
    assert "The values here are from the previous check." in sheet(client, song)

    SourceFile.objects.get(name="late.wav").leave(SourceFile.Left.REMOVED)
    jobs.measure(song.pk)
    assert "Not measured" not in sheet(client, song)


def test_a_fault_that_has_no_words_has_none(
    client: Client, signed_in: User, song: Song, monkeypatch: pytest.MonkeyPatch
) -> None:
    def fail(_: object) -> None:
        raise OSError("Input/output error")

    monkeypatch.setattr(jobs, "measured", fail)
    with pytest.raises(OSError, match="Input"):
        jobs.measure(song.pk)
    page = sheet(client, song)
    assert "The check failed on" in page
    assert ": it" not in page.partition("The check failed on")[2].partition("</p>")[0]


def test_a_file_whose_survey_never_came_through_is_named_and_tried_again(
    client: Client,
    signed_in: User,
    song: Song,
    django_capture_on_commit_callbacks: DjangoCaptureOnCommitCallbacks,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    source = song.sources.get()
    SourceFile.objects.update(status=SourceFile.Status.RECEIVED, report=None, survey_tries=jobs.MOST_TRIES)
    jobs.survey(source.pk)
    assert "“bass.wav” could not be measured." in sheet(client, song)

    asked: list[int] = []
    monkeypatch.setattr(tasks.survey_file, "delay", asked.append)
    monkeypatch.setattr(tasks.measure_song, "delay", lambda _: None)
    with django_capture_on_commit_callbacks(execute=True):
        client.post(f"/songs/{song.pk}/check/")
    assert asked == [source.pk]
    assert "could not be measured" not in sheet(client, song)


@pytest.mark.parametrize("arrives", [True, False])
def test_a_song_whose_newer_file_is_on_its_way_waits_for_its_own_check(
    monkeypatch: pytest.MonkeyPatch, arrives: bool
) -> None:
    song = make_song(client=make_client(), stage=SongStage.CHECKING)
    make_source(song=song)

    def breaks(_: object) -> None:
        if arrives:
            make_source(song=song, name="late.wav", status=SourceFile.Status.RECEIVED, report=None)
        raise SongNotMeasuredError("took too long")

    monkeypatch.setattr(jobs, "measured", breaks)
    with pytest.raises(SongNotMeasuredError):
        jobs.measure(song.pk)

    song.refresh_from_db()
    assert song.stage == (SongStage.CHECKING if arrives else SongStage.ON_DESK)
