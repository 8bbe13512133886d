"""Real files through the real survey, in its child process."""

from __future__ import annotations

import struct
from collections.abc import Callable
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest
from django.core.files.base import ContentFile
from django.core.files.storage import default_storage
from django.test import Client
from django.utils import timezone

from analysis.core.errors import SongNotMeasuredError
from analysis.core.reports import FileReport, SongReport
from portal import queueing
from portal.bookings.models import Song
from portal.bookings.stages import BookingStage, SongStage
from portal.intake import tasks
from portal.intake.checks import jobs, storing
from portal.intake.models import CLAIM_LASTS, SentZip, SongCheck, SourceFile
from portal.mailroom.models import Mail, Message
from tests.analysis.sandbox.conftest import children, measured_by
from tests.factories import make_check, make_client, make_sent_zip, make_song, make_source, measured_song
from tests.portal.intake.sending import Callbacks, click_wav, send, wav
from tests.signs import long_work

pytestmark = pytest.mark.django_db


@pytest.fixture
def song(client: Client) -> Song:
    """A song without files; the test's client is signed in as its client."""
    user = make_client()
    client.force_login(user)
    return make_song(client=user)


def received(song: Song, content: bytes, **fields: Any) -> SourceFile:
    """A file that is in the store and was not surveyed."""
    key = default_storage.save("originals/aa/file", ContentFile(content))
    return make_source(
        song=song,
        key=key,
        status=SourceFile.Status.RECEIVED,
        report=None,
        features_key="",
        size_bytes=len(content),
        **fields,
    )


def header(*, channels: int, data_bytes: int = 0) -> bytes:
    """A WAV header of these claims, without any sound (RIFF WAVE, format tag 1, 16 bits at 44.1 kHz)."""
    form = struct.pack("<HHIIHH", 1, channels, 44_100, 88_200 * channels, 2 * channels, 16)
    chunks = b"fmt " + struct.pack("<I", len(form)) + form + b"data" + struct.pack("<I", data_bytes)
    return b"RIFF" + struct.pack("<I", 4 + len(chunks) + data_bytes) + b"WAVE" + chunks


class TestCourse:
    def test_a_click_that_arrives_is_measured_and_the_song_comes_to_the_desk(
        self, client: Client, song: Song, django_capture_on_commit_callbacks: Callbacks
    ) -> None:
        response = send(client, song, ("click.wav", click_wav()), then=django_capture_on_commit_callbacks)

        song.refresh_from_db()
        source = song.sources.get()
        tempo = song.checks.get().numbers.song.tempo
        assert "is received" in response.content.decode()
        assert source.status == SourceFile.Status.SURVEYED
        assert default_storage.exists(source.features_key)
        assert tempo.source == "click"
        assert tempo.bpm == pytest.approx(112, abs=0.01)
        assert song.stage == SongStage.ON_DESK

    def test_every_task_may_run_twice(
        self, client: Client, song: Song, django_capture_on_commit_callbacks: Callbacks
    ) -> None:
        send(client, song, ("tone.wav", wav()), then=django_capture_on_commit_callbacks)
        before = rows()

        with django_capture_on_commit_callbacks(execute=True):
            tasks.survey_file(song.sources.get().pk)
            tasks.measure_song(song.pk)
            tasks.sweep()

        assert rows() == before

    def test_the_last_of_several_files_starts_the_check(
        self, song: Song, django_capture_on_commit_callbacks: Callbacks, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        started: list[int] = []
        monkeypatch.setattr(tasks.measure_song, "delay", started.append)
        first, second = received(song, wav()), received(song, wav(), name="keys.wav")

        with django_capture_on_commit_callbacks(execute=True):
            jobs.survey(first.pk)
        assert started == []
        with django_capture_on_commit_callbacks(execute=True):
            jobs.survey(second.pk)
        assert started == [song.pk]


def rows() -> tuple[object, ...]:
    return (
        list(SourceFile.objects.values_list("status", "features_key")),
        list(SongCheck.objects.values_list("pk", "fingerprint")),
        list(Song.objects.values_list("stage", "turn_since")),
        Message.objects.count(),
        Mail.objects.count(),
    )


BAD_FILES = {
    "text": ("notes.wav", b"bass, keys, strings\n" * 20, "text file"),
    "page": ("kick.wav", b"<!doctype html><script>alert(1)</script>", "web page"),
    "program": ("kick.wav.exe", b"\x7fELF" + bytes(200), "program"),
    "zero channels": ("none.wav", header(channels=0), ""),
    "empty": ("empty.wav", b"", "empty"),
}


class TestBadFiles:
    @pytest.mark.parametrize("case", [case for case in BAD_FILES if case != "empty"])
    def test_it_is_refused_with_a_sentence_kept_and_the_song_goes_on(
        self, client: Client, song: Song, django_capture_on_commit_callbacks: Callbacks, case: str
    ) -> None:
        name, content, words = BAD_FILES[case]

        send(client, song, (name, content), then=django_capture_on_commit_callbacks)

        song.refresh_from_db()
        source = song.sources.get()
        page = client.get(song.get_absolute_url()).content.decode()
        assert source.status == SourceFile.Status.REFUSED
        assert words in source.refusal
        assert source.refusal.endswith(".")
        assert default_storage.exists(source.key)
        assert "cannot be used" in page
        assert [finding.code for finding in song.findings.open()] in (["not-audio"], ["unreadable"])
        assert song.stage == SongStage.WITH_CLIENT
        assert Message.objects.get().state == Message.State.SENT

    def test_a_header_without_a_sound_is_told(
        self, client: Client, song: Song, django_capture_on_commit_callbacks: Callbacks
    ) -> None:
        send(client, song, ("short.wav", header(channels=1)), then=django_capture_on_commit_callbacks)

        song.refresh_from_db()
        assert song.stage == SongStage.WITH_CLIENT
        assert song.findings.open().exists()

    def test_an_empty_file_is_told_by_the_plain_form(
        self, client: Client, song: Song, django_capture_on_commit_callbacks: Callbacks
    ) -> None:
        name, content, words = BAD_FILES["empty"]

        response = send(client, song, (name, content), then=django_capture_on_commit_callbacks)

        assert words in response.content.decode()

    def test_a_truncated_file_is_measured_as_far_as_it_goes_and_named(
        self, client: Client, song: Song, django_capture_on_commit_callbacks: Callbacks
    ) -> None:
        whole = wav()

        send(client, song, ("cut.wav", whole[: len(whole) // 2]), then=django_capture_on_commit_callbacks)

        assert song.sources.get().status == SourceFile.Status.SURVEYED
        assert "cut-short" in song.findings.open().values_list("code", flat=True)

    def test_the_same_file_twice_is_one_object_two_entries_and_said(
        self, client: Client, song: Song, django_capture_on_commit_callbacks: Callbacks
    ) -> None:
        content = wav()

        send(client, song, ("a.wav", content), ("b.wav", content), then=django_capture_on_commit_callbacks)

        assert len(set(song.sources.values_list("key", flat=True))) == 1
        assert song.sources.count() == 2

    @pytest.mark.parametrize(
        "name",
        [
            "../../etc/passwd.wav",
            'O\'Neill "take 2" <b>.wav',
            "🥁 groove 👩‍🎤.wav",
            "한강의 밤.wav",
            f"{'x' * 300}.wav",
        ],
        ids=["path", "quotes", "emoji", "korean", "long"],
    )
    def test_any_name_is_shown_and_never_a_path(
        self, client: Client, song: Song, tmp_path: Path, django_capture_on_commit_callbacks: Callbacks, name: str
    ) -> None:
        send(client, song, (name, wav()), then=lambda execute: django_capture_on_commit_callbacks(execute=False))

        source = song.sources.get()
        page = client.get(song.get_absolute_url())
        assert page.status_code == 200
        assert "<b>.wav" not in page.content.decode()
        assert source.key.startswith("originals/")
        assert len(source.name) <= 255
        assert {path.name for path in (tmp_path / "store").rglob("*") if path.is_file()} == {source.sha256}


def test_a_booking_has_only_so_many_hours_of_sound(song: Song, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(jobs, "MOST_SOUND_HOURS", 1)
    hour = (make_source(song=song).report or {}) | {"duration_s": 3_599.9}
    SourceFile.objects.update(report=hour)
    source = received(song, wav(), name="one more.wav")

    jobs.survey(source.pk)

    source.refresh_from_db()
    assert source.status == SourceFile.Status.REFUSED
    assert source.refusal.startswith("With this file the booking would have more than 1 hours of sound")
    assert len(source.refusal) < 300


class TestClaim:
    """A survey is claimed in the file's row, once."""

    def test_a_second_copy_of_the_task_does_nothing(self, song: Song, monkeypatch: pytest.MonkeyPatch) -> None:
        source = received(song, wav())
        assert SourceFile.objects.claim(source.pk) is not None  # another worker is at it
        monkeypatch.setattr(jobs, "survey_in_child", lambda *_, **__: pytest.fail("surveyed twice at once"))

        tasks.survey_file(source.pk)

        source.refresh_from_db()
        assert (source.status, source.survey_tries) == (SourceFile.Status.RECEIVED, 1)

    def test_a_good_file_is_not_refused_because_many_copies_of_its_task_ran_at_once(self, song: Song) -> None:
        source = received(song, wav())
        claimed = SourceFile.objects.claim(source.pk)
        assert claimed is not None
        for _ in range(2 * jobs.MOST_TRIES):
            tasks.survey_file(source.pk)
        jobs.survey_claimed(claimed)

        source.refresh_from_db()
        assert (source.status, source.survey_tries) == (SourceFile.Status.SURVEYED, 1)

    def test_a_claim_that_gives_no_sign_of_life_lapses(self, song: Song) -> None:
        source = received(song, wav())
        assert SourceFile.objects.claim(source.pk) is not None
        assert SourceFile.objects.claim(source.pk) is None
        SourceFile.objects.update(survey_began_at=timezone.now() - CLAIM_LASTS - timedelta(seconds=1))
        assert SourceFile.objects.claim(source.pk) is not None

    def test_a_store_out_of_reach_lets_the_file_go_at_once(self, song: Song, monkeypatch: pytest.MonkeyPatch) -> None:
        source = received(song, wav())
        with monkeypatch.context() as patched:
            patched.setattr(jobs, "survey_in_child", raises(OSError("out of reach")))
            with pytest.raises(OSError, match="out of reach"):
                jobs.survey(source.pk)
        assert jobs.survey(source.pk)

    @pytest.mark.child
    def test_a_file_whose_child_was_killed_is_not_to_blame(self, song: Song) -> None:
        """As the kernel kills for want of memory; refused for good only when it happens again and again."""
        source = received(song, wav())
        with measured_by(children("os.kill(os.getpid(), 9)")), pytest.raises(ChildProcessError):
            jobs.survey(source.pk)
        source.refresh_from_db()
        assert (source.status, source.survey_tries) == (SourceFile.Status.RECEIVED, 1)

        assert jobs.survey(source.pk)
        source.refresh_from_db()
        assert source.status == SourceFile.Status.SURVEYED

    def test_what_a_dead_worker_claimed_is_free_when_the_only_one_starts(self, song: Song) -> None:
        source, sent = received(song, wav()), make_sent_zip(song=song)
        assert SourceFile.objects.claim(source.pk)
        assert SentZip.objects.claim(sent.pk)
        jobs.let_go_all(files=True, zips=False)
        assert SourceFile.objects.claim(source.pk)
        assert SentZip.objects.claim(sent.pk) is None
        jobs.let_go_all(files=False, zips=True)
        assert SentZip.objects.claim(sent.pk)

    def test_the_turn_goes_to_the_booking_that_had_none(self, song: Song, monkeypatch: pytest.MonkeyPatch) -> None:
        """Three tiny files of one booking, then one of another: it is the second that is measured."""
        measured: list[str] = []
        monkeypatch.setattr(jobs, "survey_claimed", lambda source: measured.append(source.name))
        many = [received(song, wav(), name=f"tiny {number}.wav") for number in range(3)]
        received(make_song(), wav(), name="other.wav")
        for source in many:
            tasks.survey_file(source.pk)
        assert measured == ["tiny 0.wav", "other.wav", "tiny 1.wav"]


def raises(error: Exception) -> Callable[..., None]:
    def call(*_: object, **__: object) -> None:
        raise error

    return call


class TestSweep:
    def test_what_only_waits_in_the_queue_is_not_queued_again(
        self, song: Song, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        received(song, wav(), received_at=timezone.now() - jobs.SURVEY_LEFT_AFTER - timedelta(seconds=1))
        queued: list[int] = []
        monkeypatch.setattr(tasks.survey_file, "delay", queued.append)
        monkeypatch.setattr(queueing, "length_of", {"files": 700}.__getitem__)
        tasks.sweep()
        assert queued == []
        monkeypatch.setattr(queueing, "length_of", {"files": 0}.__getitem__)
        tasks.sweep()
        assert len(queued) == 1

    def test_a_file_whose_worker_was_killed_is_surveyed_again(
        self, song: Song, django_capture_on_commit_callbacks: Callbacks
    ) -> None:
        song.move_to(SongStage.CHECKING)
        source = received(song, wav())
        long_ago = timezone.now() - jobs.SURVEY_LEFT_AFTER - timedelta(seconds=1)
        SourceFile.objects.update(received_at=long_ago, survey_began_at=long_ago, survey_tries=1)

        with django_capture_on_commit_callbacks(execute=True):
            tasks.sweep()

        source.refresh_from_db()
        song.refresh_from_db()
        assert source.status == SourceFile.Status.SURVEYED
        assert song.stage in (SongStage.ON_DESK, SongStage.WITH_CLIENT)

    def test_a_file_that_was_never_queued_is_surveyed(
        self, song: Song, django_capture_on_commit_callbacks: Callbacks
    ) -> None:
        received(song, wav(), received_at=timezone.now() - jobs.SURVEY_LEFT_AFTER - timedelta(seconds=1))

        assert len(jobs.left_files()) == 1

    def test_a_file_that_just_came_is_left_to_its_own_task(self, song: Song) -> None:
        received(song, wav())
        claimed = received(song, wav())
        assert SourceFile.objects.claim(claimed.pk) is not None

        assert jobs.left_files() == []

    def test_a_file_that_kills_its_worker_every_time_is_given_up_with_a_sentence(self, song: Song) -> None:
        source = received(song, wav(), survey_tries=jobs.MOST_TRIES)

        jobs.survey(source.pk)

        source.refresh_from_db()
        assert (source.status, source.refusal) == (SourceFile.Status.REFUSED, jobs.CANNOT_MEASURE)

    def test_a_song_whose_check_was_never_queued_is_checked(self, song: Song) -> None:
        make_source(song=song)
        make_check(song=song)
        long_ago = timezone.now() - jobs.CHECK_LEFT_AFTER - timedelta(seconds=1)
        Song.objects.filter(pk=song.pk).update(stage=SongStage.CHECKING, turn_since=long_ago)
        SongCheck.objects.update(began_at=long_ago)

        tasks.sweep()

        song.refresh_from_db()
        assert song.stage == SongStage.ON_DESK

    def test_a_song_that_is_being_measured_is_left_alone(self, song: Song) -> None:
        make_source(song=song)
        make_check(song=song)
        Song.objects.filter(pk=song.pk).update(stage=SongStage.CHECKING, turn_since=timezone.now() - timedelta(hours=1))

        assert jobs.left_songs() == []

    @pytest.mark.parametrize("stage", [BookingStage.CANCELLED, BookingStage.DECLINED])
    def test_a_booking_that_is_over_is_left_alone(self, song: Song, stage: BookingStage) -> None:
        Song.objects.filter(pk=song.pk).update(stage=SongStage.CHECKING, turn_since=timezone.now() - timedelta(hours=1))
        song.booking.stage = stage
        song.booking.save()

        assert jobs.left_songs() == []


class TestFaults:
    def test_a_fault_of_ours_leaves_the_song_on_the_desk_and_is_raised(self, song: Song) -> None:
        spoilt = default_storage.save("features/spoilt.npz", ContentFile(b"no features"))
        make_source(song=song, features_key=spoilt)
        song.move_to(SongStage.CHECKING)

        with pytest.raises(SongNotMeasuredError):
            jobs.measure(song.pk)

        song.refresh_from_db()
        assert song.stage == SongStage.ON_DESK
        assert song.timeline.filter(text__startswith="the check failed").exists()

    @pytest.mark.parametrize("stage", [SongStage.READY, SongStage.TRACKING, SongStage.IN_REVIEW, SongStage.DELIVERED])
    def test_a_fault_of_ours_does_not_take_a_song_from_the_drummer(self, song: Song, stage: SongStage) -> None:
        spoilt = default_storage.save("features/spoilt.npz", ContentFile(b"no features"))
        make_source(song=song, features_key=spoilt)
        song.move_to(stage)

        with pytest.raises(SongNotMeasuredError):
            jobs.measure(song.pk)

        song.refresh_from_db()
        assert song.stage == stage
        assert not song.timeline.filter(text__startswith="the check failed").exists()

    def test_a_check_that_has_only_begun_is_not_the_song_s_newest(self, song: Song) -> None:
        done = make_check(song=song)
        SongCheck.objects.create(song=song, fingerprint="begun")

        assert list(song.checks.done()) == [done]

    def test_a_check_that_was_overtaken_is_not_stored(self, song: Song) -> None:
        make_source(song=song)
        check = make_check(song=song)
        report, check.report, check.made_at = check.report, None, None
        check.save()
        make_source(song=song, name="late.wav")

        storing.store(check, report or {}, {})

        check.refresh_from_db()
        assert check.report is None


class TestLongWork:
    """What takes longer than the sweep's patience is not begun again while its worker lives."""

    LONG_AGO = timezone.now() - timedelta(hours=1)

    def test_a_survey(self, song: Song, monkeypatch: pytest.MonkeyPatch) -> None:
        source = received(song, b"no sound at all", received_at=self.LONG_AGO)
        old = long_work(lambda: SourceFile.objects.update(survey_began_at=self.LONG_AGO))
        left: list[list[int]] = []

        def surveyed(*_: object, **__: object) -> FileReport:
            left.append(jobs.left_files())
            return FileReport(name=source.name, sha256=source.sha256)

        monkeypatch.setattr(jobs, "alive", old)
        monkeypatch.setattr(jobs, "survey_in_child", surveyed)
        jobs.survey(source.pk)
        assert left == [[]]

    def test_a_check(self, song: Song, monkeypatch: pytest.MonkeyPatch) -> None:
        make_source(song=song)
        Song.objects.filter(pk=song.pk).update(stage=SongStage.CHECKING, turn_since=self.LONG_AGO)
        old = long_work(lambda: SongCheck.objects.update(began_at=self.LONG_AGO))
        left: list[list[int]] = []

        def measured(_: object) -> SongReport:
            left.append(jobs.left_songs())
            return measured_song()

        monkeypatch.setattr(jobs, "alive", old)
        monkeypatch.setattr(jobs, "measured", measured)
        jobs.measure(song.pk)
        assert left == [[]]
