"""New bounces, what they settle, and going back."""

from __future__ import annotations

from dataclasses import replace

import pytest
from django.test import Client
from django.urls import reverse
from pytest_django import DjangoCaptureOnCommitCallbacks

from analysis.core.reports import FileReport, SongReport
from analysis.core.reports import Finding as Found
from analysis.findings.catalogue import KIND_BY_CODE
from portal.bookings.models import Song
from portal.bookings.services import save_brief
from portal.bookings.stages import SongStage
from portal.intake import tasks
from portal.intake.checks import inputs, jobs
from portal.intake.desk.sheet_page import settled_words
from portal.intake.errors import FileGoneError, SongClosedError
from portal.intake.files import services as song_files
from portal.intake.models import Finding, SourceFile
from portal.people.models import User
from portal.uploads.models import Upload
from tests.factories import make_check, make_client, make_song, make_source, measured_song

pytestmark = pytest.mark.django_db
TITLE = KIND_BY_CODE["clipped"].title.lower()


@pytest.fixture(autouse=True)
def queue(monkeypatch: pytest.MonkeyPatch) -> list[tuple[str, int]]:
    asked: list[tuple[str, int]] = []
    monkeypatch.setattr(tasks.survey_file, "delay", lambda key: asked.append(("survey", key)))
    monkeypatch.setattr(tasks.measure_song, "delay", lambda key: asked.append(("measure", key)))
    return asked


@pytest.fixture
def bass(song: Song) -> SourceFile:
    return song.sources.get()


def send(
    song: Song,
    name: str = "bass.wav",
    *,
    content: str = "b",
    by: User | None = None,
    is_measured: bool = True,
    **said: object,
) -> SourceFile:
    upload = Upload.objects.create(
        owner=by or song.booking.created_by,
        purpose="source",
        target_id=song.pk,
        file_name=name,
        length_bytes=2_048,
        state=Upload.State.RECEIVED,
        sha256=content * 64,
        key=f"originals/{content * 2}/{content * 64}",
    )
    source = song_files.receive(upload=upload, song=song, **said)  # type: ignore[arg-type]
    if is_measured:
        report = FileReport(name=name, sha256=source.sha256, duration_s=60.0)
        source.store_report(report.to_json(), features_key=f"features/{source.pk}.npz")
    return source


def check(song: Song, *findings: Found) -> None:
    report = SongReport(**{**measured_song().__dict__, "findings": findings})
    make_check(song=song, report=report)
    jobs.measure(song.pk)


def clipped(name: str = "bass.wav", peaks: int = 12) -> Found:
    return Found(code="clipped", severity="stop", file=name, value={"places": peaks})


def current(song: Song) -> list[tuple[str, int]]:
    return [(source.name, source.version) for source in song.sources.current()]


def lines(song: Song) -> list[str]:
    return list(song.timeline.values_list("text", flat=True))


class TestNewBounce:
    def test_one_name_takes_the_place_of_the_earlier_one_which_stays_as_a_version(
        self, song: Song, bass: SourceFile, client_user: User
    ) -> None:
        source = send(song, "Bass.WAV", by=client_user)

        bass.refresh_from_db()
        song.refresh_from_db()
        assert current(song) == [("Bass.WAV", 2)]
        assert (bass.left_as, bass.removed_by) == (SourceFile.Left.REPLACED, client_user)
        assert list(SourceFile.objects.versions_of(source)) == [source, bass]
        assert song.stage == SongStage.CHECKING
        assert "sent “Bass.WAV” (2.0 kB) in place of “bass.wav”: version 2" in lines(song)

    def test_the_same_name_is_told_as_a_new_bounce(self, song: Song, bass: SourceFile) -> None:
        send(song, bass.name)
        send(song, bass.name, content="c")
        assert current(song) == [("bass.wav", 3)]
        assert "sent a new version of “bass.wav” (2.0 kB): version 3" in lines(song)

    def test_the_very_same_again_is_a_copy(self, song: Song) -> None:
        send(song, content="d")
        send(song, content="d")
        assert current(song) == [("bass.wav", 2), ("bass.wav", 1)]

    def test_what_comes_in_one_go_never_replaces_its_own(self, song: Song) -> None:
        send(song, "kick.wav", folder="Drums", sent_with="one")
        send(song, "kick.wav", content="c", sent_with="one")
        assert ("kick.wav", 2) not in current(song)

    def test_another_folder_is_another_file(self, song: Song) -> None:
        send(song, "kick.wav", folder="Drums", sent_with="one")
        send(song, "kick.wav", content="c", folder="Loops", sent_with="two")
        send(song, "kick.wav", content="d", folder="drums", sent_with="three")
        assert current(song) == [("bass.wav", 1), ("kick.wav", 1), ("kick.wav", 2)]

    def test_a_single_file_of_a_name_that_two_folders_have_replaces_neither(self, song: Song) -> None:
        for folder in ("Drums", "Loops"):
            send(song, "kick.wav", content=folder[0].lower(), folder=folder, sent_with=folder)
        send(song, "kick.wav", content="c")
        assert len(current(song)) == 4

    def test_a_file_sent_for_another_replaces_it_whatever_its_name(self, song: Song, bass: SourceFile) -> None:
        send(song, "Bass DI final.flac", replaces=bass.line)
        assert current(song) == [("Bass DI final.flac", 2)]

    def test_a_file_sent_for_one_that_was_taken_out_is_its_next_version(
        self, song: Song, bass: SourceFile, client_user: User
    ) -> None:
        song_files.remove(source=bass, by=client_user)
        send(song, "new.wav", replaces=bass.line)
        bass.refresh_from_db()
        assert current(song) == [("new.wav", 2)]
        assert bass.left_as == SourceFile.Left.REMOVED

    def test_another_song_s_file_of_that_name_stays(self, song: Song) -> None:
        other = make_song(client=make_client())
        make_source(song=other)
        send(song)
        assert current(other) == [("bass.wav", 1)]


class TestFindings:
    def test_what_the_new_bounce_mends_closes_and_says_so(self, song: Song) -> None:
        check(song, clipped())
        source = send(song)
        check(song)

        finding = Finding.objects.get()
        assert (finding.state, finding.resolved_by) == (Finding.State.RESOLVED, source)
        assert f"version 2 of “bass.wav” fixes: {TITLE}" in lines(song)

    def test_what_it_brings_is_new(self, song: Song) -> None:
        check(song)
        source = send(song)
        check(song, clipped())
        assert Finding.objects.get().source == source
        assert f"found in version 2 of “bass.wav”: {TITLE}" in lines(song)

    @pytest.mark.parametrize("peaks", [12, 3])
    def test_what_it_still_has_is_asked_about_anew(self, song: Song, peaks: int) -> None:
        check(song, clipped(peaks=12))
        before = Finding.objects.get()
        source = send(song)
        check(song, clipped(peaks=peaks))
        old, new = Finding.objects.all()
        assert (old.pk, old.state, old.resolved_by) == (before.pk, "resolved", None)
        assert settled_words(old) == "Still there in version 2"
        assert (new.state, new.source, new.value) == ("open", source, {"places": peaks})
        assert new.question is not None
        assert new.question != before.question
        assert not any("settles" in line for line in lines(song))

    def test_a_waived_one_stays_waived_as_long_as_it_is_the_same(self, song: Song, drummer: User) -> None:
        check(song, clipped())
        Finding.objects.get().end(Finding.State.WAIVED, by=drummer, reason="It is the sound.")
        send(song)
        check(song, clipped())
        assert Finding.objects.get().state == "waived"

    def test_the_song_s_own_end_with_the_bounce_that_came_since(self, song: Song) -> None:
        check(song, Found(code="no-tempo", severity="ask"))
        source = send(song)
        check(song)
        assert Finding.objects.get().resolved_by == source

    def test_but_not_when_the_client_said_something_new_as_well(self, song: Song, client_user: User) -> None:
        check(song, Found(code="no-tempo", severity="ask"))
        send(song)
        save_brief(song=song, by=client_user, feel="laid back")
        check(song)
        assert Finding.objects.get().resolved_by is None

    def test_going_back_brings_the_finding_back(self, song: Song, bass: SourceFile, client_user: User) -> None:
        check(song, clipped())
        send(song)
        check(song)
        song_files.bring_back(source=bass, by=client_user)
        check(song, clipped())
        assert [(finding.state, finding.source) for finding in Finding.objects.all()] == [
            ("resolved", bass),
            ("open", bass),
        ]


class TestBringBack:
    def test_the_version_before_counts_again_and_forward_too(
        self, song: Song, bass: SourceFile, client_user: User
    ) -> None:
        source = send(song)
        for version in (bass, source):
            for _ in range(2):
                song_files.bring_back(source=version, by=client_user)
            assert [one.pk for one in song.sources.current()] == [version.pk]
        assert lines(song).count("went back to version 1 of “bass.wav”") == 1
        assert song.sources.get(pk=source.pk).left_as == ""

    def test_a_file_that_was_taken_out_comes_back_and_the_song_is_measured(
        self,
        song: Song,
        bass: SourceFile,
        client_user: User,
        queue: list[tuple[str, int]],
        django_capture_on_commit_callbacks: DjangoCaptureOnCommitCallbacks,
    ) -> None:
        song_files.remove(source=bass, by=client_user)
        with django_capture_on_commit_callbacks(execute=True):
            song_files.bring_back(source=bass, by=client_user)
        assert current(song) == [("bass.wav", 1)]
        assert "restored “bass.wav”" in lines(song)
        assert queue == [("measure", song.pk)]

    def test_one_that_was_never_surveyed_is_surveyed_now(
        self,
        song: Song,
        client_user: User,
        queue: list[tuple[str, int]],
        django_capture_on_commit_callbacks: DjangoCaptureOnCommitCallbacks,
    ) -> None:
        source = send(song, "keys.wav", is_measured=False)
        song_files.remove(source=source, by=client_user)
        with django_capture_on_commit_callbacks(execute=True):
            song_files.bring_back(source=source, by=client_user)
        assert ("survey", source.pk) in queue

    def test_not_when_the_original_is_gone(self, song: Song, bass: SourceFile, client_user: User) -> None:
        song_files.remove(source=bass, by=client_user)
        bass.be_gone()
        with pytest.raises(FileGoneError, match="has been removed"):
            song_files.bring_back(source=bass, by=client_user)

    def test_not_after_delivery(self, song: Song, bass: SourceFile, client_user: User) -> None:
        song_files.remove(source=bass, by=client_user)
        Song.objects.update(stage=SongStage.DELIVERED)
        with pytest.raises(SongClosedError):
            song_files.bring_back(source=bass, by=client_user)


class TestCheckAgain:
    def test_a_file_whose_survey_broke_off_is_tried_once_more(
        self,
        song: Song,
        bass: SourceFile,
        queue: list[tuple[str, int]],
        django_capture_on_commit_callbacks: DjangoCaptureOnCommitCallbacks,
    ) -> None:
        SourceFile.objects.update(status=SourceFile.Status.REFUSED, report=None, survey_tries=3, refusal="We could not")
        with django_capture_on_commit_callbacks(execute=True):
            song_files.check_again(song.pk)
        bass.refresh_from_db()
        assert (bass.status, bass.survey_tries, bass.refusal) == ("received", 0, "")
        assert ("survey", bass.pk) in queue

    def test_a_file_that_is_of_no_use_is_not(self, song: Song, bass: SourceFile) -> None:
        bass.refuse(reason="It is a text file.", report={"name": "bass.wav"})
        song_files.check_again(song.pk)
        bass.refresh_from_db()
        assert bass.status == "refused"

    def test_without_the_originals_nothing_is_begun(self, song: Song, bass: SourceFile) -> None:
        bass.be_gone()
        song_files.check_again(song.pk)
        song.refresh_from_db()
        assert song.stage == SongStage.ON_DESK


def test_a_file_that_is_no_click_is_measured_as_music_and_so_are_its_later_versions(
    client: Client, queue: list[tuple[str, int]], django_capture_on_commit_callbacks: DjangoCaptureOnCommitCallbacks
) -> None:
    song = make_song(client=make_client(), stage=SongStage.ON_DESK)
    guitar = make_source(
        song=song, name="guitar.wav", status="surveyed", report=(heard := FileReport("guitar.wav", "0" * 64)).to_json()
    )
    make_check(song=song, report=measured_song(files=(replace(heard, is_click=True),)))
    client.force_login(song.booking.created_by)
    assert "Not a click" in client.get(song.get_absolute_url()).content.decode()

    with django_capture_on_commit_callbacks(execute=True):
        client.post(reverse("intake:no-click", args=[guitar.pk]))

    assert inputs.not_clicks(song) == ("guitar.wav",)
    assert "said that “guitar.wav” is not a click" in song.booking.timeline.values_list("text", flat=True)
    assert ("measure", song.pk) in queue
    guitar.refresh_from_db()
    guitar.leave(SourceFile.Left.REPLACED)
    make_source(song=song, name="guitar 2.wav", first=guitar, version=2)
    assert inputs.not_clicks(song) == ("guitar 2.wav",)
