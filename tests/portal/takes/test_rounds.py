"""Rounds of changes against the quote, and what a take's rough mix is said to be."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from portal.bookings.models import Song
from portal.mailroom.models import Message
from portal.money.models import Quote
from portal.people.models import User
from portal.prep.models import SessionPack
from portal.takes import services
from portal.takes.about import about_said, usual_about
from portal.takes.errors import FurtherRoundError
from portal.takes.models import RoughMix
from portal.takes.rounds import rounds_of
from tests.factories import make_client, make_map, make_quote, make_rough_mix, make_song, make_take

pytestmark = pytest.mark.django_db
State = RoughMix.State


@pytest.fixture
def member() -> User:
    return make_client()


@pytest.fixture
def song(member: User) -> Song:
    return make_song(client=member, stage="in-review", title="Cold Bus Under Spoons")


def agree(song: Song, **fields: Any) -> Quote:
    return make_quote(booking=song.booking, state=Quote.State.ACCEPTED, **fields)


def test_rounds_are_counted_by_song_against_the_accepted_quote(song: Song) -> None:
    assert rounds_of(song).agreed is None
    assert not rounds_of(song).next_is_further
    agree(song, rounds_included=2, further_rounds="80 euros each")
    make_rough_mix(song=song, state=State.CHANGE_ASKED)
    make_rough_mix(song=make_song(booking=song.booking), state=State.CHANGE_ASKED)
    rounds = rounds_of(song)
    assert (rounds.next, rounds.included, rounds.next_is_further, rounds.further_in_words) == (2, 2, False, "")
    make_rough_mix(song=song, state=State.CHANGE_ASKED)
    rounds = rounds_of(song)
    assert rounds.next_is_further
    assert rounds.further_in_words == "The quote says of a further round: 80 euros each."
    assert rounds.count_in_words == "Round 3 of changes to this song; quote 1 includes 2."


def test_where_the_quote_says_nothing_of_further_rounds_nothing_is_invented(song: Song) -> None:
    agree(song, rounds_included=0)
    assert rounds_of(song).further_in_words == (
        "The quote does not say what a further round costs: the two of you agree on it."
    )
    assert rounds_of(song).count_in_words == "Round 1 of changes to this song; quote 1 includes none."


def test_the_drummer_is_reminded_of_a_further_round_until_a_newer_quote_is_sent(
    client: Client, song: Song, member: User
) -> None:
    asked_at = timezone.now()
    agree(song, rounds_included=0, sent_at=asked_at - timedelta(days=1))
    mix = make_rough_mix(song=song, state=State.OUT)
    services.ask_for_change(rough_mix=mix, words="Softer.", by=member, is_further=True)

    def is_shown_to(user: User) -> bool:
        client.force_login(user)
        page = client.get(song.booking.get_absolute_url()).content.decode()
        return "Neither the quote nor the balance" in page

    assert is_shown_to(song.booking.created_by)
    assert not is_shown_to(member)
    make_quote(booking=song.booking, state=Quote.State.SENT, version=2, sent_at=timezone.now())
    assert not is_shown_to(song.booking.created_by)


def test_a_further_round_says_what_it_means_before_it_is_sent(client: Client, song: Song, member: User) -> None:
    agree(song, rounds_included=1, further_rounds="80 euros each")
    make_rough_mix(song=song, state=State.CHANGE_ASKED)
    mix = make_rough_mix(song=song, state=State.OUT, take=make_take(song=song, number=7), proxy_key="none")
    client.force_login(member)
    page = client.get(song.get_absolute_url()).content.decode()
    assert "Round 2 of changes to this song; quote 1 includes 1." in page
    assert "The quote says of a further round: 80 euros each." in page
    assert "I accept rough mix 2 of take 7" in page

    address, said = reverse("takes:decide", args=[mix.pk]), {"decision": "change", "words": "Softer."}
    refused = client.post(address, said | {"rounds_seen": rounds_of(song).seen})
    assert refused.status_code == 422
    assert "Tick the box to ask for it anyway" in refused.content.decode()
    mix.refresh_from_db()
    assert mix.state == State.OUT

    client.post(address, said | {"rounds_seen": rounds_of(song).seen, "further": "on"})
    mix.refresh_from_db()
    assert (mix.state, mix.round_number, mix.rounds_included, mix.is_further_round) == (State.CHANGE_ASKED, 2, 1, True)
    assert "80 euros each" in Message.objects.get(song=song).body
    assert song.timeline.filter(text="asked for a further round of changes to rough mix 2 of take 7").exists()


def test_a_page_that_showed_another_quote_asks_for_nothing(client: Client, song: Song, member: User) -> None:
    agree(song, rounds_included=3)
    mix = make_rough_mix(song=song, state=State.OUT)
    seen = rounds_of(song).seen
    Quote.objects.update(rounds_included=0)
    for is_further in (False, True):
        with pytest.raises(FurtherRoundError, match="has changed since this page was loaded"):
            services.ask_for_change(rough_mix=mix, words="Softer.", by=member, seen=seen, is_further=is_further)
    with pytest.raises(FurtherRoundError, match="includes none"):
        services.ask_for_change(rough_mix=mix, words="Softer.", by=member)


def test_a_round_ends_with_an_approval_that_names_the_take(song: Song, member: User) -> None:
    mix = make_rough_mix(song=song, state=State.OUT, take=make_take(song=song, number=12))
    services.accept_rough_mix(rough_mix=mix, by=member)
    mix.refresh_from_db()
    assert (mix.state, mix.round_number) == (State.ACCEPTED, None)
    assert song.timeline.filter(text="accepted rough mix 1 of take 12").exists()


def test_a_mix_is_of_the_newest_kept_take_unless_its_sender_says_otherwise(song: Song) -> None:
    kept, other = make_take(song=song, number=4), make_take(song=song, number=5, is_kept=False)
    gone = make_take(song=song, number=6, is_undone=True)
    assert usual_about(song).take == kept
    assert about_said(song, {"take": str(other.pk)}).take == other
    assert about_said(song, {"take": "none"}).take is None
    for wrong in ("", "nonsense", str(gone.pk), str(make_take(song=make_song()).pk)):
        assert about_said(song, {"take": wrong, "holds": "x", "begins": "session"}) == usual_about(song)


def test_a_mix_begins_with_the_session_pack_where_there_is_one(song: Song) -> None:
    """112 in 4/4, bar one 2 s into the files; the session's bar one is its bar 3, two bars of 15/7 s after its start.
    Its first frame lies 30/7 s - 2 s before the files'."""
    approved = make_map(song=song)
    SessionPack.objects.create(
        song=song,
        approved_map=approved,
        fingerprint="0" * 64,
        settings={},
        state=SessionPack.State.MADE,
        timeline={"settings": {"start_bar": 3}, "map": approved.map, "start_bar": 3, "frames": 1},
        asked_by=song.booking.created_by,
    )
    assert usual_about(song).begins == "session"
    mix = make_rough_mix(song=song, state=State.READY)
    services.send_rough_mix(rough_mix=mix, note="", about=usual_about(song), by=song.booking.created_by)
    mix.refresh_from_db()
    assert mix.begins_at_s == pytest.approx(2 - 30 / 7, abs=1e-9)
