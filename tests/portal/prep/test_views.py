from __future__ import annotations

from collections.abc import Callable
from http import HTTPStatus

import pytest
from django.core.files.storage import default_storage
from django.test import Client
from django.urls import reverse
from django.utils import timezone
from pytest_django import DjangoCaptureOnCommitCallbacks

from portal.bookings.models import Song
from portal.bookings.stages import BookingStage
from portal.prep import jobs
from portal.prep.models import HousePrep, PreparedFile, SessionPack, SongPrep
from portal.prep.services import ask_pack, prepare
from tests.factories import make_client, make_drummer, make_map, make_song, make_source
from tests.portal.pages import flat
from tests.portal.prep.songs import make_packable

pytestmark = pytest.mark.django_db

CLICK_NAME = "Cold-Bus-Under-Spoons_112bpm_v1_click_count-in-before-files.wav"


def test_an_approved_map_gives_files_to_download(
    client: Client, django_capture_on_commit_callbacks: DjangoCaptureOnCommitCallbacks
) -> None:
    song = make_song(client=make_client(), stage="on-desk", title="Cold Bus Under Spoons")
    client.force_login(song.booking.created_by)
    assert "Click and tempo map" not in client.get(song.get_absolute_url()).content.decode()

    approved = make_map(song=song)
    assert "are being made" in client.get(song.get_absolute_url()).content.decode()
    with django_capture_on_commit_callbacks(execute=True):
        prepare(approved.pk)

    page = flat(client.get(song.get_absolute_url()).content.decode())
    for words in (
        CLICK_NAME,
        "−12 dBFS",
        "see an audiologist",
        "2 bars of count-in",
    ):
        assert words in page
    click = approved.prepared.get(kind="click")
    response = client.get(reverse("prep:file", args=[click.pk]))
    assert len(b"".join(response.streaming_content)) == click.size_bytes  # type: ignore[attr-defined]
    assert f'filename="{CLICK_NAME}"' in response.headers["Content-Disposition"]


def prepared_file() -> PreparedFile:
    song = make_song(client=make_client())
    return PreparedFile.objects.create(approved_map=make_map(song=song), kind="click", name="c", key="c", size_bytes=1)


def test_outsiders_find_nothing_and_nobody_signs_in(client: Client) -> None:
    address = reverse("prep:file", args=[prepared_file().pk])
    assert client.get(address).headers["Location"].startswith("/sign-in/")
    client.force_login(make_client())
    assert client.get(address).status_code == HTTPStatus.NOT_FOUND


def test_files_are_read_not_written(client: Client) -> None:
    prepared = prepared_file()
    client.force_login(prepared.approved_map.song.booking.created_by)
    assert client.post(reverse("prep:file", args=[prepared.pk])).status_code == HTTPStatus.METHOD_NOT_ALLOWED


def page_of(client: Client, song: Song) -> str:
    return flat(client.get(song.get_absolute_url()).content.decode())


def test_a_pack_is_asked_for_watched_and_downloaded(
    client: Client, django_capture_on_commit_callbacks: DjangoCaptureOnCommitCallbacks
) -> None:
    song = make_packable(files=1)
    client.force_login(song.booking.created_by)
    assert "Make the session pack" in page_of(client, song)

    with django_capture_on_commit_callbacks() as callbacks:
        client.post(reverse("prep:make-pack", args=[song.pk]))
    assert len(callbacks) == 1
    page = page_of(client, song)
    assert "0 of 1 files are done" in page
    assert "Make the session pack" not in page
    pack = SessionPack.objects.get()
    assert client.get(reverse("prep:zip", args=[pack.pk])).status_code == HTTPStatus.NOT_FOUND

    callbacks[0]()
    page = page_of(client, song)
    for words in ("Download the session pack", "From map 1 and 1 file:", "24 bit", "bar 3"):
        assert words in page
    assert "Make the session pack" not in page
    response = client.get(reverse("prep:zip", args=[pack.pk]))
    assert 'filename="Cold-Bus-Under-Spoons_session-pack_v1.zip"' in response.headers["Content-Disposition"]
    assert len(b"".join(response)) == int(response.headers["Content-Length"])


def test_in_a_booking_that_is_over_no_pack_is_offered(client: Client) -> None:
    song = make_packable(files=1)
    client.force_login(song.booking.created_by)
    song.booking.stage = BookingStage.CANCELLED
    song.booking.save(update_fields=["stage"])
    page = page_of(client, song)
    assert "This booking is over: no session packs are made for it." in page
    assert "Make the session pack" not in page
    assert "Choices for this song" not in page


@pytest.mark.parametrize("address", ["make-click", "choose"])
def test_in_a_booking_that_is_over_the_click_stays(client: Client, address: str) -> None:
    prepared = prepared_file()
    song = prepared.approved_map.song
    song.booking.move_to(BookingStage.CANCELLED)
    client.force_login(song.booking.created_by)
    response = client.post(reverse(f"prep:{address}", args=[song.pk]), {"subdivision": "2"}, follow=True)

    assert "This booking is over: its click stays as it is." in flat(response.content.decode())
    assert PreparedFile.objects.get() == prepared


def a_newer_map(song: Song) -> None:
    make_map(song=song, bpm=90.0)


def another_file(song: Song) -> None:
    make_source(song=song, name="late.wav")


def another_choice(song: Song) -> None:
    SongPrep.objects.create(song=song, bit_depth=16)


@pytest.mark.parametrize(
    ("change", "words"),
    [
        (a_newer_map, "made from map 1, and map 2 counts"),
        (another_file, "older than the files"),
        (another_choice, "choices for clicks and packs have changed"),
    ],
)
def test_a_pack_that_is_older_says_so_and_is_made_anew_in_one_press(
    client: Client, change: Callable[[Song], None], words: str
) -> None:
    song = make_packable(files=1)
    pack = ask_pack(song=song, by=song.booking.created_by)
    SessionPack.objects.update(state="made", made_at=timezone.now(), timeline=None)
    client.force_login(song.booking.created_by)
    assert "Older" not in page_of(client, song)
    change(song)

    page = page_of(client, song)
    assert words in page
    assert "Make the session pack anew" in page
    client.post(reverse("prep:make-pack", args=[song.pk]))
    assert song.packs.first() != pack
    assert song.packs.count() == 2


def test_what_went_wrong_is_on_the_page(client: Client) -> None:
    song = make_packable(files=1)
    ask_pack(song=song, by=song.booking.created_by).fail("The server has no room.")
    client.force_login(song.booking.created_by)
    assert "Not made</span> The server has no room." in page_of(client, song)
    song.sources.update(status="received")
    assert "still being measured" in page_of(client, song)
    client.post(reverse("prep:make-pack", args=[song.pk]))
    assert "still being measured" in page_of(client, song)
    assert song.packs.count() == 1


def test_a_client_sees_click_and_tempo_map_alone(client: Client) -> None:
    song = make_packable(files=1)
    member = song.booking.members.get().user
    ask_pack(song=song, by=song.booking.created_by)
    client.force_login(member)
    page = page_of(client, song)

    assert "Click and tempo map" in page
    assert "ession pack" not in page


def test_a_songs_choices_make_its_click_anew(
    client: Client, django_capture_on_commit_callbacks: DjangoCaptureOnCommitCallbacks
) -> None:
    """Eighths at 112: 267.857 ms apart, 12 857 frames at 48 kHz (arithmetic)."""
    song = make_packable(files=1)
    approved = song.maps.get()
    jobs.make_files(approved.pk)
    old_key = approved.prepared.get(kind="click").key
    client.force_login(song.booking.created_by)
    data = {"click_sound": "wood", "subdivision": "eighth", "bars_on": 2, "bars_off": 1, "bit_depth": 16}
    with django_capture_on_commit_callbacks(execute=True):
        response = client.post(reverse("prep:choose", args=[song.pk]), data)
    assert response.status_code == HTTPStatus.FOUND

    click = approved.prepared.get(kind="click")
    facts = {name: click.facts[name] for name in ("sound", "subdivision", "bars_on", "bars_off", "bit_depth")}
    assert facts == {"sound": "wood", "subdivision": "eighth", "bars_on": 2, "bars_off": 1, "bit_depth": 16}
    assert click.key != old_key
    assert not default_storage.exists(old_key)
    assert "2 bars of click and 1 without" in page_of(client, song)


def test_a_click_made_with_older_choices_says_so(client: Client) -> None:
    song = make_packable(files=1)
    jobs.make_files(song.maps.get().pk)
    client.force_login(song.booking.created_by)
    assert "Make the click anew" not in page_of(client, song)
    HousePrep.objects.update_or_create(pk=1, defaults={"click_peak_dbfs": -18})
    assert "Make the click anew" in page_of(client, song)
    client.post(reverse("prep:make-click", args=[song.pk]))
    assert "are being made" in page_of(client, song)


def test_choices_that_cannot_be_are_said_at_their_field(client: Client) -> None:
    song = make_packable(files=1)
    client.force_login(song.booking.created_by)
    response = client.post(reverse("prep:choose", args=[song.pk]), {"bars_on": 0, "bars_off": 0, "bit_depth": 20})

    assert response.status_code == HTTPStatus.UNPROCESSABLE_ENTITY
    assert not SongPrep.objects.exists()


def house_data(**changed: object) -> dict[str, object]:
    usual = {
        "bit_depth": 24,
        "start_bar": 3,
        "count_in_bars": 2,
        "clock_start_h": 0,
        "name_template": "{part}_{rate}",
        "click_sound": "sine",
        "subdivision": "beat",
        "click_peak_dbfs": -12,
        "keep_packs_days": 30,
    }
    return usual | changed


def test_the_house_edits_its_defaults_and_sees_the_names(client: Client) -> None:
    client.force_login(make_drummer())
    address = reverse("prep:house")
    assert "MK_ColdBusUnder_ILv2_BassGtr_48k_24.wav" in client.get(address).content.decode()
    assert client.post(address, house_data()).status_code == HTTPStatus.FOUND
    assert "BassGtr_48k.wav" in client.get(address).content.decode()
    assert HousePrep.get().sample_rate_hz is None


@pytest.mark.parametrize(
    ("changed", "sentence"),
    [
        ({"name_template": "{client}"}, "needs {part}"),
        ({"name_template": "{part}_{artist}"}, "There is no field {artist}"),
        ({"name_template": "{part"}, "A brace is missing"),
        ({"click_peak_dbfs": -7}, "-8"),
        ({"start_bar": 0}, "1"),
        ({"clock_start_h": 24}, "23"),
    ],
)
def test_a_default_that_cannot_be_is_said_at_its_field(
    client: Client, changed: dict[str, object], sentence: str
) -> None:
    client.force_login(make_drummer())
    response = client.post(reverse("prep:house"), house_data(**changed))

    assert response.status_code == HTTPStatus.UNPROCESSABLE_ENTITY
    assert sentence in response.content.decode()
