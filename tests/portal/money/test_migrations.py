"""The facts that earlier versions did not write down are read from their rows."""

from __future__ import annotations

from importlib import import_module

import pytest
from django.apps import apps
from django.utils import timezone

from portal.bookings.models import Booking, Member, Song
from portal.bookings.stages import BookingStage, SongStage
from portal.bookings.turns import SongNotes
from portal.listening.models import Excerpt
from portal.mailroom.models import Message
from portal.money.models import Quote
from portal.takes.models import RoughMix
from tests.factories import (
    make_booking,
    make_client,
    make_finding,
    make_map,
    make_message,
    make_rough_mix,
    make_sent_quote,
    make_song,
    make_source,
)

pytestmark = pytest.mark.django_db
facts = import_module("portal.money.migrations.0004_facts_of_bookings_and_songs")
YES = [{"code": "yes", "label": "Yes"}]


def migrated(song: Song) -> Song:
    """The song as the migration leaves it, having found none of the facts."""
    Song.objects.update(turn="client", waits_for="write-quote", **dict.fromkeys(SongNotes.__annotations__, False))
    Booking.objects.update(waits_for="write-quote", quote_state="none", agreed_once=False)
    facts.write_facts(apps, None)
    return Song.objects.select_related("booking").get(pk=song.pk)


def test_a_question_of_our_checks_waits_for_the_client() -> None:
    song = make_song(client=make_client(), stage=SongStage.WITH_CLIENT)
    make_source(song=song)
    make_message(song=song, key="check:1", answers=YES)
    after = migrated(song)
    assert (after.turn, after.waits_for, after.has_files, after.question_open) == (
        "client",
        "answer-question",
        True,
        True,
    )
    assert after.booking.waits_for == "answer-question"


def test_an_approved_map_a_stop_and_the_deposit_decide_on_the_desk() -> None:
    song = make_song(client=make_client(), stage=SongStage.ON_DESK)
    make_sent_quote(booking=song.booking, state=Quote.State.ACCEPTED)
    Booking.objects.update(deposit_required=True)
    assert migrated(song).waits_for == "approve-map"
    make_map(song=song)
    assert migrated(song).waits_for == "pay-deposit"
    finding = make_finding(song=song, code="no-music")
    assert migrated(song).waits_for == "settle-findings"
    finding.resolve()
    Booking.objects.update(deposit_received_at=timezone.now())
    assert migrated(song).waits_for == "mark-ready"


def test_a_listening_check_waits_and_a_no_to_it_is_an_objection() -> None:
    song = make_song(client=make_client(), stage=SongStage.ON_DESK)
    approved, by = make_map(song=song), song.booking.created_by
    out = Excerpt.objects.create(song=song, asked_by=by, map=approved.map, first_bar=1, state="out")
    assert migrated(song).waits_for == "hear-bars"
    out.take_answer(Excerpt.Answer.TWICE, words="", taps_s=[], by=by)
    assert migrated(song).waits_for == "approve-map"


@pytest.mark.parametrize(
    ("stage", "state", "code"),
    [
        (SongStage.IN_REVIEW, RoughMix.State.OUT, "hear-mix"),
        (SongStage.IN_REVIEW, RoughMix.State.ACCEPTED, "deliver"),
        (SongStage.TRACKING, RoughMix.State.CHANGE_ASKED, "change-mix"),
    ],
)
def test_the_newest_mix_decides_of_the_take(stage: SongStage, state: RoughMix.State, code: str) -> None:
    song = make_song(client=make_client(), stage=stage)
    make_rough_mix(song=song, state=state)
    assert migrated(song).waits_for == code


def test_a_cancelled_booking_is_closed_and_the_way_back_leaves_states_that_were_known() -> None:
    booking = make_booking(client=make_client(), songs=1, stage=BookingStage.CANCELLED)
    quote = make_sent_quote(booking=booking)
    held = make_message(booking=booking, state=Message.State.HELD)
    assert migrated(booking.songs.get()).waits_for == "cancelled"
    quote.refresh_from_db()
    held.refresh_from_db()
    assert (quote.state, held.state) == (Quote.State.WITHDRAWN, Message.State.WITHDRAWN)
    assert not Member.objects.filter(told_at=None).exists()

    facts.forget(apps, None)

    quote.refresh_from_db()
    assert quote.state == Quote.State.REPLACED
