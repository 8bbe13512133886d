from __future__ import annotations

import pytest

from portal.bookings.board_page import count_songs
from portal.bookings.models import Song
from portal.bookings.stages import song_course
from portal.mailroom.models import Mail, Message
from portal.people.models import User
from portal.takes import services
from portal.takes.errors import NotDecidableError, NotReadyError
from portal.takes.models import RoughMix
from portal.takes.page import takes_page
from tests.factories import make_client, make_rough_mix, make_song

pytestmark = pytest.mark.django_db


@pytest.fixture
def member() -> User:
    return make_client(name="Mara", email="mara@example.com")


@pytest.fixture
def song(member: User) -> Song:
    return make_song(client=member, title="Cold Bus Under Spoons", stage="tracking", turn="drummer")


def sent_mix(song: Song) -> RoughMix:
    mix = make_rough_mix(song=song, state=RoughMix.State.READY)
    services.send_rough_mix(rough_mix=mix, note="", by=song.booking.created_by)
    mix.refresh_from_db()
    song.refresh_from_db()
    return mix


def texts(song: Song) -> list[str]:
    return list(song.timeline.values_list("text", flat=True))


def test_tracking_starts_once_and_only_when_the_song_is_ready() -> None:
    song = make_song(client=make_client(), stage="ready")
    for _ in range(2):
        services.start_tracking(song=song, by=song.booking.created_by)
    song.refresh_from_db()
    assert (song.stage, song.turn) == ("tracking", "drummer")
    assert texts(song).count("started tracking") == 1
    with pytest.raises(NotReadyError, match="on the desk"):
        services.start_tracking(song=make_song(stage="on-desk"), by=song.booking.created_by)


def test_sending_hands_the_song_to_the_client_with_a_letter_once(song: Song, member: User) -> None:
    mix = make_rough_mix(song=song, state=RoughMix.State.READY)
    for _ in range(2):
        services.send_rough_mix(rough_mix=mix, note="Listen to the bridge.", by=song.booking.created_by)

    song.refresh_from_db()
    mix.refresh_from_db()
    assert (song.stage, song.turn, mix.state, mix.note) == ("in-review", "client", "out", "Listen to the bridge.")
    assert "Listen to the bridge." in Message.objects.get(song=song).body
    mail = Mail.objects.get(to=member.email)
    assert f"{song.booking.created_by.name} has sent rough mix 1 of “{song.title}”. Listen to" in mail.body
    assert "wrote" not in mail.body
    assert "reply" not in mail.body
    assert Mail.objects.filter(to=member.email).count() == 1


@pytest.mark.parametrize("state", ["received", "refused"])
def test_nothing_goes_out_that_cannot_be_heard(song: Song, state: str) -> None:
    with pytest.raises(NotReadyError):
        services.send_rough_mix(rough_mix=make_rough_mix(song=song, state=state), note="", by=song.booking.created_by)


def test_acceptance_gives_the_turn_to_the_drummer_for_the_delivery(song: Song, member: User) -> None:
    mix = sent_mix(song)
    for _ in range(2):
        services.accept_rough_mix(rough_mix=mix, by=member)

    song.refresh_from_db()
    mix.refresh_from_db()
    assert (song.stage, song.turn) == ("in-review", "drummer")
    assert (mix.state, mix.decided_by) == ("accepted", member)
    assert texts(song).count("accepted rough mix 1") == 1
    assert Mail.objects.filter(to=song.booking.created_by.email).count() == 1


def test_a_change_takes_the_song_back_to_the_kit_with_the_clients_words(song: Song, member: User) -> None:
    mix = sent_mix(song)
    for _ in range(2):
        services.ask_for_change(rough_mix=mix, words="Bar 33: ride, please.", by=member)

    song.refresh_from_db()
    mix.refresh_from_db()
    assert (song.stage, song.turn) == ("tracking", "drummer")
    assert (mix.state, mix.client_note) == ("change-asked", "Bar 33: ride, please.")
    said = Message.objects.get(song=song, sender=member)
    assert said.body == f"{member.name} asks for a change to rough mix 1:\n\nBar 33: ride, please."
    assert Mail.objects.filter(to=song.booking.created_by.email).count() == 1


def test_versions_are_kept_and_only_the_newest_can_be_decided(song: Song, member: User) -> None:
    first, second = sent_mix(song), sent_mix(song)
    with pytest.raises(NotDecidableError):
        services.accept_rough_mix(rough_mix=first, by=member)
    services.accept_rough_mix(rough_mix=second, by=member)
    assert song.rough_mixes.count() == 2
    with pytest.raises(NotDecidableError):
        services.ask_for_change(rough_mix=second, words="No!", by=member)


def test_a_mix_that_was_passed_by_is_not_sent_any_more(song: Song, member: User) -> None:
    """Before a newer one is sent it can be; then the newer one alone can be decided."""
    first, second = (make_rough_mix(song=song, state=RoughMix.State.READY) for _ in range(2))
    page = takes_page(song, song.booking.created_by)
    assert (page.newest, page.still_to_send, page.passed_by) == (second, (first,), ())
    assert takes_page(song, member).still_to_send == ()
    services.send_rough_mix(rough_mix=second, note="", by=song.booking.created_by)
    song.refresh_from_db()
    page = takes_page(song, song.booking.created_by)
    assert (page.still_to_send, page.passed_by) == ((), (first,))
    with pytest.raises(NotReadyError, match="upload this one again"):
        services.send_rough_mix(rough_mix=first, note="", by=song.booking.created_by)


def test_the_stage_is_not_in_review_once_the_mix_is_accepted(song: Song, member: User) -> None:
    mix = sent_mix(song)
    assert song.get_stage_display() == "out for review"
    services.accept_rough_mix(rough_mix=mix, by=member)
    song.refresh_from_db()
    assert (song.get_stage_display(), song.stage) == ("in delivery", "in-review")
    assert count_songs(song.booking) == ((1, "in delivery"),)
    assert ("in-review", "in delivery") in song_course(song.stage, for_client=True, mix_accepted=True)


def test_a_newer_mix_after_acceptance_asks_the_client_again(song: Song, member: User) -> None:
    services.accept_rough_mix(rough_mix=sent_mix(song), by=member)
    sent_mix(song)
    assert (song.stage, song.turn) == ("in-review", "client")


def test_a_newer_mix_that_is_not_out_blocks_nothing(song: Song, member: User) -> None:
    mix = sent_mix(song)
    make_rough_mix(song=song, state=RoughMix.State.READY)
    services.accept_rough_mix(rough_mix=mix, by=member)
    mix.refresh_from_db()
    assert mix.state == "accepted"
