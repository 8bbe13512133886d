from __future__ import annotations

from base64 import b64encode
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from portal.bookings.models import Booking, Song
from portal.delivery import services
from portal.delivery.errors import BalanceMissingError, NameTakenError, NotCheckedError, SetClosedError
from portal.delivery.models import Delivery, DeliveryFile
from portal.delivery.page import delivery_page
from portal.delivery.sheet.text import sheet_text
from portal.delivery.zip_contents import zip_of
from portal.mailroom.models import Mail, Message
from portal.people.models import House, User
from portal.uploads.models import Upload
from tests.factories import make_client, make_delivery, make_rough_mix, make_song, make_track, store_content

pytestmark = pytest.mark.django_db

FAILURE = {"code": "clipped", "file": "a.wav", "passed": False, "message": "a.wav is clipped."}
SUCCESS = FAILURE | {"passed": True}


@pytest.fixture
def member() -> User:
    return make_client(email="mara@example.com")


@pytest.fixture
def song(member: User) -> Song:
    return make_song(client=member, stage="in-review", turn="drummer")


def checked_set(song: Song, *checks: dict[str, Any]) -> Delivery:
    delivery = make_delivery(song=song)
    make_track(delivery=delivery, name="a.wav", crc32=1)
    delivery.store_checks(list(checks or (SUCCESS,)), passed=not checks)
    return delivery


def released_set(song: Song) -> Delivery:
    delivery = checked_set(song)
    services.release(delivery=delivery, note="", by=song.booking.created_by)
    delivery.refresh_from_db()
    song.refresh_from_db()
    return delivery


def texts(song: Song) -> list[str]:
    return list(song.timeline.values_list("text", flat=True))


def test_a_set_is_opened_once_and_says_when_no_mix_was_accepted(song: Song) -> None:
    by = song.booking.created_by
    first, again = (services.open_delivery(song=song, by=by) for _ in range(2))
    assert first == again
    assert texts(song).count("opened delivery 1 without an accepted rough mix") == 1

    other = make_song(stage="in-review")
    make_rough_mix(song=other, state="accepted")
    services.open_delivery(song=other, by=by)
    assert "opened delivery 1" in texts(other)


@pytest.mark.parametrize("stage", ["waiting", "on-desk", "ready", "accepted"])
def test_nothing_is_delivered_before_tracking_or_after_acceptance(stage: str) -> None:
    with pytest.raises(SetClosedError):
        services.open_delivery(song=make_song(stage=stage), by=make_client())


def test_an_empty_set_has_nothing_to_check(song: Song) -> None:
    with pytest.raises(NotCheckedError):
        services.ask_check(delivery=make_delivery(song=song))


def test_a_failure_blocks_until_it_is_waived_with_a_reason(song: Song) -> None:
    delivery, by = checked_set(song, FAILURE), song.booking.created_by
    with pytest.raises(NotCheckedError, match="1 failed"):
        services.release(delivery=delivery, note="", by=by)
    with pytest.raises(NotCheckedError, match="has not failed"):
        services.waive(delivery=delivery, code="silent", file_name="a.wav", reason="?", by=by)

    services.waive(delivery=delivery, code="clipped", file_name="a.wav", reason="it is meant to be", by=by)
    services.release(delivery=delivery, note="", by=by)
    delivery.refresh_from_db()
    assert delivery.state == Delivery.State.RELEASED
    assert "waived “Clipping” of a.wav in delivery 1: it is meant to be" in texts(song)


@pytest.mark.parametrize("state", ["open", "checking"])
def test_what_is_not_checked_as_it_stands_is_not_released(song: Song, state: str) -> None:
    with pytest.raises(NotCheckedError):
        services.release(delivery=make_delivery(song=song, state=state), note="", by=song.booking.created_by)


def test_a_changed_set_starts_anew_without_its_waivers(song: Song) -> None:
    delivery, by = checked_set(song, FAILURE), song.booking.created_by
    services.waive(delivery=delivery, code="clipped", file_name="a.wav", reason="it is meant to be", by=by)
    services.remove_track(file=delivery.files.get(), by=by)

    delivery.refresh_from_db()
    assert (delivery.state, delivery.checks, delivery.waivers.count()) == (Delivery.State.OPEN, [], 0)
    assert "took “a.wav” out of delivery 1" in texts(song)


def test_release_moves_the_song_and_writes_to_the_client_once(song: Song, member: User) -> None:
    delivery = checked_set(song)
    for _ in range(2):
        services.release(delivery=delivery, note="All at 48 kHz.", by=song.booking.created_by)

    song.refresh_from_db()
    assert (song.stage, song.turn) == ("delivered", "client")
    assert "All at 48 kHz." in Message.objects.get(song=song).body
    assert Mail.objects.filter(to=member.email).count() == 1
    assert "balance" not in Message.objects.get(song=song).body
    assert "Download your files" in Message.objects.get(song=song).body


def test_a_released_set_stands(song: Song) -> None:
    delivery = released_set(song)
    file = DeliveryFile.objects.get()
    with pytest.raises(SetClosedError):
        services.remove_track(file=file, by=song.booking.created_by)
    with pytest.raises(SetClosedError):
        services.ask_check(delivery=delivery)


def test_acceptance_ends_the_song_and_with_the_last_song_the_booking(song: Song, member: User) -> None:
    delivery = released_set(song)
    Booking.objects.filter(pk=song.booking_id).update(stage="delivered")
    for _ in range(2):
        services.accept(delivery=delivery, by=member)

    song.refresh_from_db()
    delivery.refresh_from_db()
    assert (song.stage, delivery.state, delivery.accepted_by) == ("accepted", "accepted", member)
    assert Booking.objects.get(pk=song.booking_id).stage == "closed"
    assert texts(song).count("accepted delivery 1") == 1


def test_only_the_newest_set_can_be_accepted(song: Song, member: User) -> None:
    first, second = released_set(song), released_set(song)
    with pytest.raises(SetClosedError):
        services.accept(delivery=first, by=member)
    services.accept(delivery=second, by=member)


def test_files_that_wait_for_the_balance_cannot_be_accepted_unheard(song: Song, member: User) -> None:
    Booking.objects.filter(pk=song.booking_id).update(balance_before_files=True)
    delivery = released_set(Song.objects.get(pk=song.pk))
    message = Message.objects.get(song=song)
    assert "Pay the balance: you can download the files as soon as it is recorded." in message.body
    assert "Download" not in message.body
    with pytest.raises(BalanceMissingError):
        services.accept(delivery=delivery, by=member)


def test_a_cancelled_booking_takes_and_gives_nothing_more(song: Song, member: User) -> None:
    open_set, out = make_delivery(song=song), released_set(song)
    Booking.objects.filter(pk=song.booking_id).update(stage="cancelled")
    with pytest.raises(SetClosedError):
        services.open_delivery(song=song, by=song.booking.created_by)
    with pytest.raises(SetClosedError):
        services.ask_check(delivery=open_set)
    with pytest.raises(SetClosedError):
        services.accept(delivery=out, by=member)


def sent(delivery: Delivery, name: str, content: bytes, sent_with: str = "") -> DeliveryFile:
    metadata = f"sentwith {b64encode(sent_with.encode()).decode()}" if sent_with else ""
    sha256 = store_content(content)
    upload = Upload.objects.create(
        owner=delivery.song.booking.created_by,
        purpose="track",
        target_id=delivery.pk,
        file_name=name,
        length_bytes=len(content),
        metadata=metadata,
        sha256=sha256,
        key=f"originals/{sha256[:2]}/{sha256}",
    )
    return services.receive_track(upload=upload)


def test_a_corrected_track_takes_the_old_ones_place_and_its_row(song: Song, member: User) -> None:
    delivery = make_delivery(song=song)
    old = sent(delivery, "Kick In.wav", b"one")
    DeliveryFile.objects.filter(pk=old.pk).update(microphone="D12", take="4", note="gated", polarity="flipped")
    delivery.store_checks([FAILURE], passed=False)
    new = sent(delivery, "KICK IN.wav", b"two")
    assert (new.version, new.microphone, new.take, new.note, new.polarity) == (2, "D12", "4", "gated", "flipped")
    delivery.refresh_from_db()
    assert (delivery.state, delivery.checks) == (Delivery.State.OPEN, [])
    assert list(delivery.files.current()) == [new]
    page = delivery_page(delivery, song.booking.created_by)
    assert [file.pk for file in page.replaced] == [old.pk]
    assert texts(song)[-1] == "sent “KICK IN.wav” anew in delivery 1: version 2"
    with pytest.raises(SetClosedError, match="replaced already"):
        services.remove_track(file=old, by=song.booking.created_by)

    delivery.store_checks([SUCCESS], passed=True)
    services.release(delivery=delivery, note="", by=song.booking.created_by)
    assert list(DeliveryFile.objects.visible_to(member)) == [new]
    delivery.refresh_from_db()
    assert delivery_page(delivery, member).replaced == ()


def test_the_very_same_track_again_changes_nothing(song: Song) -> None:
    delivery = make_delivery(song=song)
    first = sent(delivery, "a.wav", b"one")
    delivery.store_checks([SUCCESS], passed=True)
    assert sent(delivery, "a.wav", b"one") == first
    delivery.refresh_from_db()
    assert delivery.state == Delivery.State.CHECKED


def test_two_files_of_one_drop_do_not_replace_each_other(song: Song) -> None:
    delivery = make_delivery(song=song)
    first = sent(delivery, "a.wav", b"one", sent_with="drop-1")
    with pytest.raises(NameTakenError, match="Rename one"):
        sent(delivery, "A.wav", b"two", sent_with="drop-1")
    assert list(delivery.files.current()) == [first]
    assert sent(delivery, "a.wav", b"three", sent_with="drop-2").version == 2


def test_a_waiver_travels_to_the_sheet_and_the_clients_page(song: Song, member: User, client: Client) -> None:
    delivery = checked_set(song, FAILURE)
    by = song.booking.created_by
    services.waive(delivery=delivery, code="clipped", file_name="a.wav", reason="The amp is meant to clip.", by=by)
    services.release(delivery=Delivery.objects.get(pk=delivery.pk), note="", by=by)
    delivery.refresh_from_db()
    sheet = sheet_text(delivery, list(delivery.files.current()))
    assert f"WAIVED CHECKS\n\n  1. a.wav is clipped.\n     waived by {by.name}: The amp is meant to clip." in sheet
    made = zip_of(delivery)
    assert made is not None
    archive, _ = made
    assert b"The amp is meant to clip." in b"".join(archive.read(0, archive.length_bytes))
    client.force_login(member)
    page = client.get(reverse("delivery:delivery", args=[delivery.pk])).content.decode()
    assert "Waived checks" in page
    assert "The amp is meant to clip." in page


def test_a_microphone_is_remembered_for_the_next_delivery(song: Song) -> None:
    """By the name of the track and by who recorded it: not the take, the note or somebody else's."""
    other = make_client(email="other@example.com")
    first = released_set(song)
    make_track(delivery=first, name="KickIn.wav", microphone="dynamic, inside", take="3", note="late")
    make_track(delivery=first, name="SnTop.wav", sent_by=other, microphone="condenser")
    later = make_delivery(song=make_song())

    DeliveryFile.objects.filter(name="KickIn.wav").update(sent_by=later.song.booking.created_by)
    kick = sent(later, "kickin.WAV", b"a new kick")
    assert (kick.microphone, kick.take, kick.note) == ("dynamic, inside", "", "")
    assert sent(later, "SnTop.wav", b"a new snare").microphone == ""


def test_a_channel_said_by_hand_is_remembered_and_asks_for_a_new_check(song: Song) -> None:
    delivery = services.open_delivery(song=song, by=song.booking.created_by)
    track = make_track(delivery=delivery, name="Audio 01.wav", sent_by=song.booking.created_by)
    delivery.store_checks([SUCCESS], passed=True)
    services.describe(delivery=delivery, save=lambda: DeliveryFile.objects.update(microphone="dynamic"))
    delivery.refresh_from_db()
    assert delivery.state == "checked"
    services.describe(delivery=delivery, save=lambda: DeliveryFile.objects.filter(pk=track.pk).update(channel="SnTop"))
    delivery.refresh_from_db()
    assert (delivery.state, delivery.checks) == ("checking", [])
    later = make_delivery(song=make_song())
    DeliveryFile.objects.update(sent_by=later.song.booking.created_by)
    anew = sent(later, "audio 01.WAV", b"another song's")
    assert (anew.channel, anew.microphone) == ("SnTop", "dynamic")


def test_the_house_says_whose_left_is_left_and_a_set_may_say_otherwise(song: Song) -> None:
    House.objects.update_or_create(pk=1, defaults={"perspective": Delivery.Perspective.PLAYER})
    delivery = services.open_delivery(song=song, by=song.booking.created_by)
    assert delivery.perspective == "player"
    make_track(delivery=delivery)
    delivery.store_checks([SUCCESS], passed=True)

    services.describe(delivery=delivery, save=lambda: None)
    delivery.refresh_from_db()
    assert delivery.state == "checked"
    services.describe(delivery=delivery, save=lambda: Delivery.objects.update(perspective="audience"))
    delivery.refresh_from_db()
    assert (delivery.state, delivery.checks, delivery.perspective) == ("checking", [], "audience")
