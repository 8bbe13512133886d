"""One booking walked from the enquiry to its end: at each step every page and e-mail says the same about the turn."""

from __future__ import annotations

import re
from collections.abc import Callable
from datetime import timedelta
from decimal import Decimal
from typing import Any

import pytest
from django.test import Client
from django.utils import timezone

from analysis.core.reports import SongReport
from portal.bookings.models import Booking, Song
from portal.bookings.services import cancel_booking, move_song, open_booking, save_brief, seat_client
from portal.bookings.stages import SongStage
from portal.delivery import services as delivery
from portal.delivery.jobs import Reading, checked_for, store
from portal.delivery.models import Delivery
from portal.delivery.repairs.jobs import make_repair
from portal.delivery.repairs.services import ask_repair
from portal.intake.checks import jobs
from portal.intake.checks import services as intake
from portal.intake.checks.answering import release
from portal.intake.checks.song_facts import note_facts
from portal.listening import services as listening
from portal.listening.jobs import let_out
from portal.listening.models import Excerpt
from portal.mailroom import reminders
from portal.mailroom.models import Mail, Question
from portal.money import payments
from portal.money import services as money
from portal.money.errors import QuoteError
from portal.money.models import Payment, Quote
from portal.people.models import User
from portal.takes import services as takes
from portal.takes.models import RoughMix
from tests.factories import (
    make_booking,
    make_check,
    make_client,
    make_delivery,
    make_drummer,
    make_finding,
    make_map,
    make_question,
    make_rough_mix,
    make_sent_quote,
    make_song,
    make_source,
    make_track,
    measured_song,
)

pytestmark = pytest.mark.django_db

DESK_STAGES = ("waiting", "checking", "with-client", "on-desk", "ready")
CONDITIONS = money.Conditions(
    currency="EUR",
    deposit_percent=50,
    balance_before_files=True,
    rounds_included=2,
    further_rounds="",
    due_on=None,
    valid_until=None,
    terms="",
)

UNSAFE_NAME = {"code": "safe-name", "file": "Hat .wav", "passed": False, "limit": "Hat.wav", "message": "Unsafe."}


class Walk:
    """A drummer and a client before one booking with one song."""

    def __init__(self) -> None:
        self.jo, self.mara = make_drummer(name="Jo"), make_client(name="Mara", email="mara@example.com")
        self.booking = open_booking(
            by=self.jo,
            title="Cold Bus Under Spoons",
            song_titles=["Paper Bin Behind Goose"],
            client_name="Mara",
            client_email="mara@example.com",
        )
        self.mails_seen = 0

    @property
    def song(self) -> Song:
        return Song.objects.select_related("booking").get(booking=self.booking)

    def offer(self) -> Quote:
        lines = [money.Line("Drums", Decimal(1), Decimal(240))]
        booking = Booking.objects.get(pk=self.booking.pk)
        quote = money.save_draft(booking=booking, conditions=CONDITIONS, lines=lines, by=self.jo)
        money.send_quote(quote=quote, by=self.jo)
        return Quote.objects.get(pk=quote.pk)

    def check(self, report: SongReport) -> None:
        make_check(song=self.song, report=report)
        jobs.measure(self.song.pk)

    def mix(self) -> RoughMix:
        mix = make_rough_mix(song=self.song, state=RoughMix.State.READY)
        takes.send_rough_mix(rough_mix=mix, note="", by=self.jo)
        return RoughMix.objects.get(pk=mix.pk)

    def new_mail_to(self) -> set[str]:
        mails = list(Mail.objects.order_by("pk"))[self.mails_seen :]
        self.mails_seen += len(mails)
        return {"client" if mail.to == self.mara.email else "drummer" for mail in mails}

    def says(self, user: User) -> dict[str, bool]:
        """For each page of this reader, whether it says that it is their turn."""
        browser = Client()
        browser.force_login(user)
        pages = {"board": "/board/", "booking": self.booking.get_absolute_url(), "song": self.song.get_absolute_url()}
        if user.is_drummer and self.song.stage in DESK_STAGES and not self.song.booking.is_over:
            pages |= {"desk": "/desk/", "sheet": f"/songs/{self.song.pk}/sheet/"}
        read = {name: browser.get(address).content.decode() for name, address in pages.items()}
        return {name: says_yours(name, page) for name, page in read.items()}

    def stands(self, who: str, code: str, *, mail_to: str = "") -> None:
        """Everything agrees on who is waited for, and only they are: pages of both readers, and e-mails."""
        assert (self.song.turn, self.song.waits_for) == (who, code)
        for user, side in ((self.jo, "drummer"), (self.mara, "client")):
            said = self.says(user)
            assert said == dict.fromkeys(said, side == who), (side, code)
        assert self.new_mail_to() == set(mail_to.split()), code


def says_yours(name: str, page: str) -> bool:
    if name == "board":
        return 'class="card yours"' in page
    if name == "desk":
        return "turn-word yours" in page
    banner = re.search(r'<div class="turn( yours)?">', page)
    assert banner is not None, name
    is_alone = name != "booking"  # a booking's page has a turn for each of its songs
    says_so = is_alone and '<span class="turn-word yours">' in page
    assert banner[1] or not says_so, f"a part of the {name} page says “Your turn”, and its banner does not"
    return bool(banner[1])


def test_every_page_and_e_mail_agrees_from_the_enquiry_to_the_end() -> None:
    walk = Walk()
    walk.stands("drummer", "write-quote")
    quote = walk.offer()
    walk.stands("client", "answer-quote", mail_to="client")
    money.accept_quote(quote=quote, by=walk.mara)
    walk.stands("client", "write-brief", mail_to="drummer")
    save_brief(song=walk.song, by=walk.mara)
    walk.stands("client", "send-files")
    through_intake(walk)
    through_the_take(walk)
    through_delivery(walk)


def through_intake(walk: Walk) -> None:
    make_source(song=walk.song)
    move_song(walk.song, SongStage.CHECKING, text="the files are being checked", has_files=True)
    walk.stands("house", "check")
    walk.check(measured_song("no-click"))
    walk.stands("client", "answer-question", mail_to="client")
    intake.waive(finding=walk.song.findings.get(), by=walk.jo, reason="the map is made here")
    walk.stands("drummer", "approve-map")
    intake.approve(song=walk.song, by=walk.jo)
    walk.stands("client", "pay-deposit")
    pay(walk, Payment.Kind.DEPOSIT)
    walk.stands("drummer", "mark-ready", mail_to="client")
    intake.mark_ready(song=walk.song, by=walk.jo)
    walk.stands("drummer", "track")


def through_the_take(walk: Walk) -> None:
    takes.start_tracking(song=walk.song, by=walk.jo)
    walk.stands("drummer", "send-mix")
    mix = walk.mix()
    walk.stands("client", "hear-mix", mail_to="client")
    takes.ask_for_change(rough_mix=mix, words="Softer.", by=walk.mara)
    walk.stands("drummer", "change-mix", mail_to="drummer")
    mix = walk.mix()
    walk.stands("client", "hear-mix", mail_to="client")
    takes.accept_rough_mix(rough_mix=mix, by=walk.mara)
    walk.stands("drummer", "deliver", mail_to="drummer")


def through_delivery(walk: Walk) -> None:
    made = make_delivery(song=walk.song)
    track = make_track(delivery=made, name="Kick.wav")
    delivery.ask_check(delivery=made)
    walk.stands("house", "check-set")
    delivery.remove_track(file=track, by=walk.jo)
    assert walk.song.waits_for == "deliver"
    make_track(delivery=made, name="Hat .wav")
    delivery.ask_check(delivery=made)
    store_checks(made, UNSAFE_NAME)
    walk.stands("drummer", "mend-set")
    made.refresh_from_db()
    repair = ask_repair(delivery=made, keys=["rename:Hat .wav"], by=walk.jo)
    walk.stands("house", "correct-set")
    make_repair(repair.pk)
    assert walk.song.waits_for == "check-set"
    store_checks(made, UNSAFE_NAME | {"passed": True})
    walk.stands("drummer", "deliver")
    delivery.release(delivery=made, note="", by=walk.jo)
    walk.stands("client", "pay-balance", mail_to="client")
    pay(walk, Payment.Kind.BALANCE)
    walk.stands("client", "accept-files", mail_to="client")
    delivery.accept(delivery=Delivery.objects.get(), by=walk.mara)
    walk.stands("nobody", "closed", mail_to="drummer")


def store_checks(made: Delivery, check: dict[str, Any]) -> None:
    readings = [Reading(file, file.sha256, 1, {}, {}) for file in made.files.current()]
    store(made.pk, checked_for(made), readings, [check])


def pay(walk: Walk, kind: Payment.Kind) -> None:
    booking, today = walk.song.booking, timezone.localdate()
    payments.record_payment(booking=booking, kind=kind, amount=Decimal(120), received_on=today, by=walk.jo)


def at_work(**song: Any) -> tuple[Song, User, User]:
    mara = make_client(name="Mara")
    booking = make_booking(
        client=mara, stage="working", quote_state="accepted", agreed_once=True, drummer=make_drummer(name="Jo")
    )
    make_sent_quote(booking=booking, state=Quote.State.ACCEPTED)
    booking.note(quote_state="accepted")
    return make_song(booking=Booking.objects.get(pk=booking.pk), **song), mara, booking.created_by


def page_of(user: User, address: str) -> str:
    browser = Client()
    browser.force_login(user)
    return " ".join(browser.get(address).content.decode().split())


def test_songs_of_an_unsent_enquiry_wait_for_the_drummer() -> None:
    walk = Walk()
    assert walk.song.turn == "drummer"
    assert "Your turn" in page_of(walk.jo, "/desk/")
    assert "The client" not in page_of(walk.jo, "/desk/")


@pytest.mark.parametrize("stage", [SongStage.ON_DESK, SongStage.READY])
def test_after_a_listening_check_only_the_client_reads_your_turn(stage: SongStage) -> None:
    song, mara, jo = at_work(stage=stage)
    out = Excerpt.objects.create(song=song, asked_by=jo, map=measured(song), first_bar=1)
    let_out(out.pk, key="excerpts/x.flac", trouble="")
    assert Song.objects.get().waits_for == "hear-bars"
    assert '<div class="turn yours">' in page_of(mara, song.get_absolute_url())
    assert "Your turn" not in page_of(jo, song.get_absolute_url())
    assert "turn-word yours" not in page_of(jo, "/desk/")

    out.refresh_from_db()
    listening.answer(excerpt=out, answer=Excerpt.Answer.RIGHT, by=mara)
    assert Song.objects.get().turn == "drummer"


def measured(song: Song) -> dict[str, object]:
    approved: dict[str, object] = make_map(song=song).map
    return approved


def test_a_new_quote_in_mid_work_reaches_the_client_everywhere_and_returns_the_turn() -> None:
    decide: Callable[..., None]
    for decide in (money.accept_quote, money.decline_quote):
        song, mara, jo = at_work(stage=SongStage.TRACKING)
        before = (Booking.objects.get(pk=song.booking_id).turn, song.turn)
        draft = make_sent_quote(booking=song.booking, state=Quote.State.DRAFT, sent_at=None)
        money.send_quote(quote=draft, by=jo)

        booking = Booking.objects.get(pk=song.booking_id)
        assert (booking.turn, booking.waits_for) == ("client", "answer-new-quote")
        address = f"/bookings/{booking.pk}/quote/"
        for page in (booking.get_absolute_url(), song.get_absolute_url()):
            assert address in page_of(mara, page)
            assert "accept or decline it" in page_of(mara, page)
        assert 'class="card yours"' in page_of(mara, "/board/")
        assert "new quote" in Mail.objects.filter(to=mara.email).latest("pk").body

        decide(quote=Quote.objects.get(pk=draft.pk), by=mara)
        booking = Booking.objects.get(pk=song.booking_id)
        assert (booking.turn, Song.objects.get(pk=song.pk).turn) == before
        assert "new quote" not in page_of(mara, song.get_absolute_url())


def test_a_missing_deposit_is_the_client_s_turn_and_the_drummer_records_it() -> None:
    song, mara, jo = at_work(stage=SongStage.ON_DESK, map_approved=True)
    Booking.objects.update(deposit_required=True)
    note_facts(song)
    make_map(song=song)
    note_facts(song)
    assert "Pay the deposit" in page_of(mara, song.get_absolute_url())
    page = page_of(jo, song.get_absolute_url())
    assert "Tracking can begin when you have recorded it." in page
    assert "approve tempo" not in page


def test_after_the_brief_nobody_is_asked_to_write_it() -> None:
    song, mara, _ = at_work()
    save_brief(song=song, by=mara)
    assert "Write the brief" not in page_of(mara, song.get_absolute_url()).split("</nav>")[-1].split('id="timeline"')[0]


def test_after_a_change_request_the_drummer_reads_of_the_change() -> None:
    song, mara, jo = at_work(stage=SongStage.IN_REVIEW)
    mix = make_rough_mix(song=song, state=RoughMix.State.OUT)
    takes.ask_for_change(rough_mix=mix, words="Softer.", by=mara)
    assert "Make the requested change" in page_of(jo, song.get_absolute_url())


def test_an_unsent_booking_is_cancelled_without_a_word_outside() -> None:
    walk = Walk()
    cancel_booking(booking=walk.booking, by=walk.jo, reason="")
    assert not Mail.objects.exists()
    assert "Cold Bus Under Spoons" not in page_of(walk.mara, "/board/") + page_of(walk.mara, "/archive/")
    browser = Client()
    browser.force_login(walk.mara)
    assert browser.get(walk.booking.get_absolute_url()).status_code == 404


def test_who_was_told_is_told_of_the_end_and_who_was_not_is_not() -> None:
    walk = Walk()
    walk.offer()
    ana = make_client(name="Ana")
    seat_client(booking=walk.booking, client=ana, by=walk.jo)
    cancel_booking(booking=Booking.objects.get(), by=walk.jo, reason="")
    assert not Mail.objects.filter(to=ana.email).exists()
    assert Mail.objects.filter(to=walk.mara.email, subject__endswith="is cancelled").count() == 1


def test_a_draft_can_be_declined_by_nobody_and_tells_nobody() -> None:
    walk = Walk()
    draft = money.save_draft(booking=walk.booking, conditions=CONDITIONS, lines=[], by=walk.jo)
    with pytest.raises(QuoteError):
        money.decline_quote(quote=draft, by=walk.mara)
    assert not Mail.objects.exists()


def test_a_cancelled_booking_asks_nothing_of_anyone() -> None:
    walk = Walk()
    quote = walk.offer()
    song = walk.song
    make_finding(song=song)
    question = make_question(song=song, asked_at=timezone.now() - timedelta(9))
    held = make_question(song=song, state=Question.State.HELD)
    excerpt = Excerpt.objects.create(song=song, asked_by=walk.jo, map=measured(song), first_bar=1, state="out")
    cancel_booking(booking=Booking.objects.get(), by=walk.jo, reason="")
    mails = Mail.objects.count()

    with pytest.raises(QuoteError):
        money.accept_quote(quote=quote, by=walk.mara)
    for row, state in ((quote, "withdrawn"), (question, "moot"), (held, "moot"), (excerpt, "withdrawn")):
        row.refresh_from_db()
        assert row.state == state
    reminders.remind()
    release(message=held.message, by=walk.jo)
    assert Mail.objects.count() == mails
    assert walk.song.turn == Booking.objects.get().turn == "nobody"
    for page in (walk.booking.get_absolute_url(), song.get_absolute_url(), f"/bookings/{walk.booking.pk}/quote/"):
        for user in (walk.mara, walk.jo):
            assert "Your turn" not in page_of(user, page)
    assert "I accept this quote" not in page_of(walk.mara, f"/bookings/{walk.booking.pk}/quote/")


def test_a_quote_that_ran_out_is_the_drummer_s_turn() -> None:
    walk = Walk()
    quote = walk.offer()
    Quote.objects.filter(pk=quote.pk).update(valid_until=timezone.localdate() - timedelta(2))
    money.note_expired()
    money.note_expired()
    assert (walk.song.turn, walk.song.waits_for) == ("drummer", "renew-quote")


def test_a_booking_is_not_closed_over_a_quote_that_waits() -> None:
    song, mara, jo = at_work(stage=SongStage.DELIVERED)
    draft = make_sent_quote(booking=song.booking, state=Quote.State.DRAFT, sent_at=None)
    money.send_quote(quote=draft, by=jo)
    move_song(song, SongStage.ACCEPTED, text="accepted")
    booking = Booking.objects.get()
    assert (booking.stage, booking.waits_for) == ("delivered", "answer-new-quote")
    money.decline_quote(quote=Quote.objects.get(pk=draft.pk), by=mara)
    assert Booking.objects.get().stage == "closed"
