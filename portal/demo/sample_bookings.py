"""The invented house: bookings at every stage, from an enquiry to one that is closed.

The first is at work, with a song that waits for its files; the second has an open quote; the third is an enquiry. The
others are agreed here, and their songs go on in the queue (`going_on`).
"""

from datetime import date, timedelta
from decimal import Decimal

from django.db import transaction
from django.utils import timezone

from analysis.band import SHORT_SONG_BY_SLUG, SONG_BY_SLUG
from portal.bookings import services as bookings
from portal.bookings.models import Booking, Song
from portal.demo.further_on import FURTHER_ON, FurtherOn
from portal.demo.people import CLIENT, DRUMMER, ENQUIRER, OTHER_CLIENT, move_in
from portal.money import payments
from portal.money import services as money
from portal.money.models import Payment, Quote
from portal.money.services import Conditions, Line
from portal.people.models import House, User
from portal.queueing import queue_task_on_commit

# Shorter than in a new house, so that whoever tries the demo sees the check soon.
QUIET_AFTER_FILES_S = 5
DUE_IN = timedelta(days=16)
FEE = Decimal(240)
TERMS = (
    "One whole performance per song, delivered as a multitrack from bar one at the rate and depth of your files. "
    "Two rounds of changes are included. A new arrangement is a new song."
)
# The first one waits for its files: it is the one to try the upload on.
CLIENTS_SONGS = ("thursday-ladder", "wet-stairs", "damp-receipt")
SENT_SONGS = ("wet-stairs", "damp-receipt")
OTHER_CLIENTS_SONGS = ("borrowed-stapler",)
ENQUIRY_SONGS = ("Second Chair Behind Curtain", "Wooden Spoon Under Blanket")
ENQUIRY_NOTES = (
    "Asked by phone: about three minutes, brushes, no click. She would like a price for both songs together."
)
ALL_SONGS = SONG_BY_SLUG | SHORT_SONG_BY_SLUG


@transaction.atomic
def build_house(*, small: bool = False) -> None:
    """`small`: only the first two bookings."""
    drummer, client, other_client = (move_in(who) for who in (DRUMMER, CLIENT, OTHER_CLIENT))
    house = {
        "name": "Veltmoor Drum Room",
        "time_zone": drummer.time_zone,
        "quiet_after_files_s": QUIET_AFTER_FILES_S,
    }
    House.objects.update_or_create(pk=1, defaults=house)
    working = open_booking("Gravel Lunchbox Spring Sessions", CLIENTS_SONGS, client=client, drummer=drummer)
    agree(working, client=client, drummer=drummer)
    for slug, song in zip(CLIENTS_SONGS, working.songs.all(), strict=True):
        if slug in SENT_SONGS:
            send_song(song, slug, client=client)
    quoted = open_booking("Umbrella Stand Second Session", OTHER_CLIENTS_SONGS, client=other_client, drummer=drummer)
    offer(quoted, drummer=drummer)
    if not small:
        note_enquiry(drummer=drummer)
        people = {CLIENT: client, OTHER_CLIENT: other_client}
        for further in FURTHER_ON:
            begin(further, client=people[further.client], drummer=drummer)


def note_enquiry(*, drummer: User) -> None:
    """Somebody asked: nothing is offered yet, and they have heard nothing from the house."""
    booking = bookings.open_booking(
        by=drummer,
        title="Two Songs For Brushes",
        song_titles=ENQUIRY_SONGS,
        client_name=ENQUIRER.name,
        client_email=ENQUIRER.email,
    )
    bookings.save_brief(song=booking.songs.all()[0], by=drummer, notes=ENQUIRY_NOTES)


def begin(further: FurtherOn, *, client: User, drummer: User) -> None:
    """The files are sent; when they are checked, `going_on` takes the song further."""
    booking = open_booking(further.title, (further.slug,), client=client, drummer=drummer)
    agree(booking, client=client, drummer=drummer, balance_before_files=True)
    send_song(booking.songs.all()[0], further.slug, client=client)


def send_song(song: Song, slug: str, *, client: User) -> None:
    write_brief(song, slug, client=client)
    queue_task_on_commit("portal.demo.tasks.send_stems", song.pk, slug)


def open_booking(title: str, slugs: tuple[str, ...], *, client: User, drummer: User) -> Booking:
    return bookings.open_booking(
        by=drummer,
        title=title,
        song_titles=[ALL_SONGS[slug].title for slug in slugs],
        client_name=client.name,
        client_email=client.email,
        due_on=today() + DUE_IN,
    )


def offer(booking: Booking, *, drummer: User, balance_before_files: bool = False) -> Quote:
    conditions = Conditions(
        currency="EUR",
        deposit_percent=50,
        balance_before_files=balance_before_files,
        rounds_included=2,
        further_rounds="half of the song’s fee",
        due_on=today() + DUE_IN,
        valid_until=today() + 2 * DUE_IN,
        terms=TERMS,
    )
    lines = [Line(f"Drums for “{song.title}”", Decimal(1), FEE) for song in booking.songs.all()]
    quote = money.save_draft(booking=booking, conditions=conditions, lines=lines, by=drummer)
    money.send_quote(quote=quote, by=drummer)
    quote.refresh_from_db()
    return quote


def agree(booking: Booking, *, client: User, drummer: User, balance_before_files: bool = False) -> None:
    quote = offer(booking, drummer=drummer, balance_before_files=balance_before_files)
    money.accept_quote(quote=quote, by=client)
    deposit = Decimal(quote.deposit_minor) / 100
    payments.record_payment(
        booking=booking, kind=Payment.Kind.DEPOSIT, amount=deposit, received_on=today(), by=drummer, note="by transfer"
    )


def write_brief(song: Song, slug: str, *, client: User) -> None:
    said = ALL_SONGS[slug]
    bpm = None if said.brief.bpm is None else Decimal(str(said.brief.bpm))
    bookings.save_brief(
        song=song,
        by=client,
        bpm=bpm,
        meter=said.brief.meter or "",
        starts=said.brief.starts,
        count_in_bars=said.brief.count_in_bars,
        notes=said.words,
    )


def today() -> date:
    return timezone.localdate()
