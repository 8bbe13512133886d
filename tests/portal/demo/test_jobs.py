import pytest
from pytest_django import DjangoCaptureOnCommitCallbacks

from portal.bookings.models import Song
from portal.demo import jobs
from portal.demo.seed import seed_house

pytestmark = pytest.mark.django_db


@pytest.fixture
def song(monkeypatch: pytest.MonkeyPatch) -> Song:
    monkeypatch.setattr(jobs, "SHORT_FORM", (("verse", 1),))
    seed_house(small=True)
    return Song.objects.get(title="Damp Receipt Near Cupboard")


def test_the_stems_arrive_as_the_clients_own_files(song: Song) -> None:
    jobs.send_stems(song, "damp-receipt")

    client = song.booking.members.get().user
    assert {source.sent_by for source in song.sources.all()} == {client}
    assert sorted(source.name for source in song.sources.all()) == [
        f"damp-receipt_{player}.wav" for player in ("bass", "keys", "lead", "pad", "strings")
    ]


def test_a_second_run_sends_nothing_twice(song: Song) -> None:
    jobs.send_stems(song, "damp-receipt")
    jobs.send_stems(song, "damp-receipt")

    assert song.sources.count() == 5


def test_the_songs_that_were_sent_are_played_once_the_house_stands(
    django_capture_on_commit_callbacks: DjangoCaptureOnCommitCallbacks, monkeypatch: pytest.MonkeyPatch
) -> None:
    played: list[tuple[str, str]] = []
    monkeypatch.setattr(jobs, "send_stems", lambda song, slug: played.append((song.title, slug)))

    with django_capture_on_commit_callbacks(execute=True):
        seed_house(small=True)

    assert played == [("Wet Stairs Beside Kettle", "wet-stairs"), ("Damp Receipt Near Cupboard", "damp-receipt")]
