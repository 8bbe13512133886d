from __future__ import annotations

from io import BytesIO

import pytest
from django.core.files.base import ContentFile
from django.core.files.storage import default_storage
from django.test import Client
from django.urls import reverse

from portal.bookings.models import Song
from portal.bookings.stages import SongStage
from portal.intake.checks import jobs
from portal.intake.models import SourceFile
from portal.mailroom.models import Question
from portal.people.models import User
from tests.factories import make_check, make_client, make_song, make_source, measured_song
from tests.portal.pages import flat

pytestmark = pytest.mark.django_db
HTMX = {"HX-Request": "true"}


@pytest.fixture
def member() -> User:
    return make_client()


@pytest.fixture
def song(member: User) -> Song:
    return make_song(client=member)


@pytest.fixture
def source(song: Song) -> SourceFile:
    key = default_storage.save("originals/aa/bass", ContentFile(b"RIFF and so on"))
    return make_source(song=song, name="Größe <1>.wav", key=key, size_bytes=14)


def routes(song: Song, source: SourceFile, question: Question) -> list[tuple[str, str]]:
    return [
        ("get", reverse("intake:files", args=[song.pk])),
        ("post", reverse("intake:plain-upload", args=[song.pk])),
        ("get", reverse("intake:download", args=[source.pk])),
        ("post", reverse("intake:remove", args=[source.pk])),
        ("post", reverse("intake:answer", args=[question.pk])),
    ]


@pytest.fixture
def question(song: Song, source: SourceFile) -> Question:
    song.move_to(SongStage.CHECKING)
    make_check(song=song, report=measured_song("no-click", "no-tempo"))
    jobs.measure(song.pk)
    return Question.objects.get()


class TestAccess:
    def test_for_an_outsider_nothing_is_there(
        self, client: Client, song: Song, source: SourceFile, question: Question
    ) -> None:
        client.force_login(make_client())

        for method, path in routes(song, source, question):
            assert getattr(client, method)(path).status_code == 404, path

    def test_nobody_is_sent_to_sign_in(
        self, client: Client, song: Song, source: SourceFile, question: Question
    ) -> None:
        for method, path in routes(song, source, question):
            assert getattr(client, method)(path)["Location"].startswith("/sign-in/"), path

    def test_other_methods_are_405(
        self, client: Client, member: User, song: Song, source: SourceFile, question: Question
    ) -> None:
        client.force_login(member)

        for method, path in routes(song, source, question):
            other = "post" if method == "get" else "get"
            assert getattr(client, other)(path).status_code == 405, path


class TestFiles:
    def test_the_part_shows_each_file_with_its_hash_and_numbers(
        self, client: Client, member: User, song: Song, source: SourceFile
    ) -> None:
        client.force_login(member)

        page = flat(client.get(reverse("intake:files", args=[song.pk]), headers=HTMX).content.decode())

        assert "Größe &lt;1&gt;.wav" in page
        assert source.short_hash in page
        assert "48\u00a0kHz, 24 bits, stereo" in page
        assert "−18.0\u00a0LUFS" in page

    def test_it_keeps_refreshing_only_while_something_is_measured(
        self, client: Client, member: User, song: Song, source: SourceFile
    ) -> None:
        client.force_login(member)
        path = reverse("intake:files", args=[song.pk])

        settled = client.get(path, headers=HTMX).content.decode()
        make_source(song=song, status=SourceFile.Status.RECEIVED, report=None)
        busy = client.get(path, headers=HTMX).content.decode()

        assert "every 2s" not in settled
        assert "every 2s" in busy
        assert "being measured" in busy

    def test_the_page_hears_that_the_song_moved(self, client: Client, member: User, song: Song) -> None:
        client.force_login(member)
        path = reverse("intake:files", args=[song.pk])

        assert client.get(f"{path}?seen=checking", headers=HTMX)["HX-Trigger"] == "song-changed"
        assert "HX-Trigger" not in client.get(f"{path}?seen=waiting", headers=HTMX)

    def test_a_browser_that_follows_the_link_gets_the_page(self, client: Client, member: User, song: Song) -> None:
        client.force_login(member)

        response = client.get(reverse("intake:files", args=[song.pk]))

        assert response["Location"] == f"/songs/{song.pk}/#files"

    def test_the_client_reads_what_is_asked_in_their_words_and_nothing_that_is_held(
        self, client: Client, member: User, song: Song, question: Question
    ) -> None:
        client.force_login(member)
        path = reverse("intake:files", args=[song.pk])

        assert "should we make a tempo map" in client.get(path, headers=HTMX).content.decode()

        question.state, question.asked_at = Question.State.HELD, None
        question.save()
        assert "should we make a tempo map" not in client.get(path, headers=HTMX).content.decode()

    def test_the_list_makes_the_same_queries_for_3_files_as_for_300(
        self, client: Client, member: User, song: Song, django_assert_max_num_queries: object
    ) -> None:
        client.force_login(member)
        path = reverse("intake:files", args=[song.pk])
        client.get(path, headers=HTMX)
        counts = []
        for number in (3, 297):
            for _ in range(number):
                make_source(song=song)
            with django_assert_max_num_queries(100) as queries:  # type: ignore[operator]
                client.get(path, headers=HTMX)
            counts.append(len(queries))

        assert counts[0] == counts[1]


class TestPlainUpload:
    def test_several_files_arrive_and_say_so(self, client: Client, member: User, song: Song) -> None:
        client.force_login(member)
        files = [named("bass.wav"), named("keys.wav")]

        page = client.post(f"/songs/{song.pk}/files/upload/", {"file": files}, follow=True).content.decode()

        assert song.sources.count() == 2
        assert "“bass.wav” is received" in page

    def test_without_a_file_it_says_what_to_do(self, client: Client, member: User, song: Song) -> None:
        client.force_login(member)

        page = client.post(f"/songs/{song.pk}/files/upload/", follow=True).content.decode()

        assert "Choose a file first" in page

    def test_a_song_that_takes_no_files_says_why(self, client: Client, member: User, song: Song) -> None:
        client.force_login(member)
        song.move_to(SongStage.ACCEPTED)

        page = client.post(f"/songs/{song.pk}/files/upload/", {"file": named("late.wav")}, follow=True).content.decode()

        assert "no longer accepts files" in page
        assert not song.sources.exists()


def named(name: str) -> BytesIO:
    file = BytesIO(b"some bytes")
    file.name = name
    return file


class TestDownload:
    def test_an_original_comes_back_byte_for_byte_under_its_own_name(
        self, client: Client, member: User, source: SourceFile
    ) -> None:
        client.force_login(member)

        response = client.get(reverse("intake:download", args=[source.pk]))

        assert b"".join(response) == b"RIFF and so on"
        assert response["Content-Type"] == "application/octet-stream"
        assert "attachment" in response["Content-Disposition"]
        assert response["X-Content-Type-Options"] == "nosniff"


class TestRemove:
    def test_a_file_is_taken_out(self, client: Client, member: User, source: SourceFile) -> None:
        client.force_login(member)

        page = client.post(reverse("intake:remove", args=[source.pk]), follow=True).content.decode()

        source.refresh_from_db()
        assert source.removed_at is not None
        assert "is removed" in page

    def test_from_a_delivered_song_nothing_is_taken_out(
        self, client: Client, member: User, song: Song, source: SourceFile
    ) -> None:
        client.force_login(member)
        song.move_to(SongStage.DELIVERED)

        client.post(reverse("intake:remove", args=[source.pk]))

        source.refresh_from_db()
        assert source.removed_at is None


@pytest.mark.usefixtures("question")
def test_what_is_needed_stands_there_only_while_it_is_the_client_s_turn(
    client: Client, member: User, song: Song
) -> None:
    client.force_login(member)
    address = reverse("intake:files", args=[song.pk])
    song.refresh_from_db()
    assert song.stage == SongStage.WITH_CLIENT
    assert "What we need from you" in client.get(address, headers=HTMX).content.decode()

    song.move_to(SongStage.ON_DESK)
    assert "What we need from you" not in client.get(address, headers=HTMX).content.decode()
