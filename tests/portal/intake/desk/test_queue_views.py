"""The queue looked at in several ways."""

from __future__ import annotations

from datetime import timedelta
from urllib.parse import urlencode

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone
from django.utils.html import strip_tags

from portal.bookings.models import Song
from portal.bookings.stages import SongStage
from portal.intake.desk.queue_filter import Look
from portal.intake.desk.queue_page import ROWS_PER_PAGE, next_after, queue_page
from portal.intake.models import KeptView, SetAside
from portal.people.models import User
from tests.factories import make_booking, make_client, make_finding, make_song
from tests.portal.intake.reading import read

pytestmark = pytest.mark.django_db


def on_desk(title: str, *, code: str = "", listening_open: bool = False) -> Song:
    song = make_song(title=title, stage=SongStage.ON_DESK, listening_open=listening_open)
    if code:
        make_finding(song=song, code=code)
    return song


@pytest.fixture
def songs(signed_in: User) -> dict[str, Song]:
    return {
        "stopped": on_desk("Cellar Bucket Before Noon", code="no-music"),
        "clear": on_desk("Paper Bin Behind Goose"),
        "away": on_desk("Salted Brick On Monday", listening_open=True),
    }


@pytest.mark.parametrize(
    ("query", "seen"),
    [
        ("", {"Cellar Bucket Before Noon", "Paper Bin Behind Goose", "Salted Brick On Monday"}),
        ("?show=yours", {"Cellar Bucket Before Noon", "Paper Bin Behind Goose"}),
        ("?show=stops", {"Cellar Bucket Before Noon"}),
        ("?show=clear", {"Paper Bin Behind Goose", "Salted Brick On Monday"}),
        ("?show=client", {"Salted Brick On Monday"}),
        ("?show=aside", set()),
        ("?words=paper", {"Paper Bin Behind Goose"}),
        ("?show=stops&words=paper", set()),
        ("?show=nonsense", {"Cellar Bucket Before Noon", "Paper Bin Behind Goose", "Salted Brick On Monday"}),
    ],
)
def test_each_look_shows_its_songs(client: Client, songs: dict[str, Song], query: str, seen: set[str]) -> None:
    page = read(client, f"/desk/{query}")
    assert {song.title for song in songs.values() if f">{song.title}</a>" in page} == seen


def test_words_find_the_client_too(client: Client, signed_in: User) -> None:
    make_song(
        booking=make_booking(client=make_client(name="Mara Quillfen")),
        title="Cold Bus Under Spoons",
        stage=SongStage.ON_DESK,
    )
    assert "Cold Bus Under Spoons" in read(client, "/desk/?words=quillfen")


def test_the_refresh_keeps_the_look(client: Client, songs: dict[str, Song]) -> None:
    assert 'hx-get="/desk/?show=stops&amp;words=cellar"' in read(client, "/desk/?show=stops&words=cellar")


def test_a_view_is_kept_by_name_changed_and_dropped(client: Client, signed_in: User, songs: dict[str, Song]) -> None:
    for show in ("stops", "yours"):
        client.post(reverse("intake:keep-view"), {"name": "Mine", "show": show, "words": "boats"})
    kept = KeptView.objects.get()
    assert (kept.owner, kept.show, kept.words) == (signed_in, "yours", "boats")
    assert 'href="?show=yours&amp;words=boats">“Mine”</a>' in read(client, "/desk/")
    client.post(reverse("intake:drop-view", args=[kept.pk]))
    assert not KeptView.objects.exists()


def test_a_view_needs_a_name(client: Client, signed_in: User) -> None:
    page = client.post(reverse("intake:keep-view"), {"name": " "}, follow=True).content.decode()
    assert "Enter a name" in page


def test_another_drummer_s_views_are_theirs(client: Client, signed_in: User) -> None:
    kept = KeptView.objects.create(owner=make_booking().created_by, name="Theirs", show="all")
    assert client.post(reverse("intake:drop-view", args=[kept.pk])).status_code == 404


def test_a_song_set_aside_goes_to_the_end_and_is_no_one_s_turn_until_taken_up(
    client: Client, songs: dict[str, Song]
) -> None:
    stopped = songs["stopped"]
    for _ in range(2):
        client.post(reverse("intake:set-aside", args=[stopped.pk]))
    page = read(client, "/desk/")
    assert "(1) Desk" in page
    assert page.index(">Cellar Bucket Before Noon</a>") > page.index(">Salted Brick On Monday</a>")
    assert "Set aside, since today" in strip_tags(page)
    assert stopped.timeline.filter(text="set the song aside").count() == 1

    for _ in range(2):
        client.post(reverse("intake:take-up", args=[stopped.pk]))
    assert not SetAside.objects.exists()
    assert stopped.timeline.filter(text="resumed the song").count() == 1
    assert "(2) Desk" in read(client, "/desk/")


def test_next_is_the_next_that_waits_and_round_again(signed_in: User, songs: dict[str, Song]) -> None:
    assert next_after(songs["stopped"], signed_in) == songs["clear"]
    assert next_after(songs["clear"], signed_in) == songs["stopped"]
    assert next_after(songs["away"], signed_in) == songs["stopped"]
    songs["stopped"].delete()
    assert next_after(songs["clear"], signed_in) is None


def test_stage_and_due_narrow_the_queue_and_are_kept_with_the_view(client: Client, songs: dict[str, Song]) -> None:
    today = timezone.localdate()
    late = make_song(booking=make_booking(due_on=today - timedelta(days=2)), title="Wet Plank Over Bells")
    for query, title in [("?due=late", late.title), ("?stage=waiting", late.title)]:
        page = read(client, f"/desk/{query}")
        assert f">{title}</a>" in page
        assert not any(f">{song.title}</a>" in page for song in songs.values())
    client.post(reverse("intake:keep-view"), {"name": "Late", "stage": "waiting", "due": "late"})
    assert 'href="?show=all&amp;stage=waiting&amp;due=late">“Late”</a>' in read(client, "/desk/")


def test_the_queue_has_pages_and_next_goes_beyond_them(client: Client, signed_in: User) -> None:
    booking = make_booking(stage="working")
    made = [make_song(booking=booking, stage=SongStage.ON_DESK) for _ in range(ROWS_PER_PAGE + 2)]
    pages = [queue_page(signed_in, Look(), number) for number in ("1", "2")]
    assert [len(page.rows) for page in pages] == [ROWS_PER_PAGE, 2]
    assert {row.song for page in pages for row in page.rows} == set(made)
    assert 'rel="next" href="?show=all&amp;page=2"' in read(client, "/desk/")
    assert next_after(pages[0].rows[-1].song, signed_in) == pages[1].rows[0].song


@pytest.mark.parametrize("words", ["%", "_", "ПЕСНЯ", "'\"", "🥁"])
def test_words_are_text(client: Client, signed_in: User, words: str) -> None:
    found = on_desk(f"a {words.lower()} b")
    other = on_desk("Nothing of it")
    page = read(client, f"/desk/?{urlencode({'words': words})}")
    assert f'id="desk-song-{found.pk}"' in page
    assert f'id="desk-song-{other.pk}"' not in page


def test_a_client_at_the_desk_s_address_is_told_whose_it_is(client: Client) -> None:
    client.force_login(make_client())
    response = client.get(reverse("intake:desk"))
    assert response.status_code == 403
    assert "The desk is the drummer’s page." in response.content.decode()
