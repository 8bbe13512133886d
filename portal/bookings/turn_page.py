"""Whose turn it is, as one reader sees it, and what that reader does next: the stored turn, in words."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from django.urls import reverse

from portal.bookings import turns
from portal.bookings.models import Booking, Song
from portal.bookings.stages import Turn
from portal.bookings.turn_words import WORDS_BY_CODE
from portal.people.models import User

QUOTE_CODES = tuple(wait.code for wait in turns.QUOTE_WAITS)
PAY_CODES = (turns.PAY_DEPOSIT.code, turns.PAY_BALANCE.code)
DESK_CODES = tuple(wait.code for wait in turns.DESK_WAITS)
# Where on the song's page a thing is done.
ANCHORS = {
    turns.SEND_FILES.code: "#files",
    turns.SEND_PROMISED_FILE.code: "#files",
    turns.ANSWER_QUESTION.code: "#messages",
    turns.HEAR_BARS.code: "#listening",
    turns.TRACK.code: "#rough-mixes",
    turns.SEND_MIX.code: "#rough-mixes",
    turns.CHANGE_MIX.code: "#rough-mixes",
    turns.HEAR_MIX.code: "#rough-mixes",
    turns.DELIVER.code: "#delivery",
    turns.MEND_SET.code: "#delivery",
    turns.ACCEPT_FILES.code: "#delivery",
}


@dataclass(frozen=True)
class TurnShown:
    """What the turn banner says. `who` is empty when it is nobody's turn.

    `also` is a second thing that waits for this reader, beside a song: the new quote of its booking.
    """

    yours: bool
    who: str
    since: datetime
    what: str
    href: str = ""
    label: str = ""
    also: str = ""
    also_href: str = ""


def turn_of(user: User) -> Turn:
    return Turn.DRUMMER if user.is_drummer else Turn.CLIENT


def song_turn(song: Song, user: User) -> TurnShown:
    booking, yours = song.booking, song.turn == turn_of(user)
    what, label = _words(song.waits_for, booking, yours=yours)
    href = song_address(song) if label else ""
    also = also_href = ""
    if booking.waits_for == turns.ANSWER_NEW_QUOTE.code:
        also, _ = _words(booking.waits_for, booking, yours=not user.is_drummer)
        also_href = reverse("money:quote", args=[booking.pk])
    return TurnShown(yours, who_in_words(song.turn, booking), song.turn_since, what, href, label, also, also_href)


def song_address(song: Song) -> str:
    """Where whatever the song waits for is done."""
    code = song.waits_for
    if code in QUOTE_CODES + PAY_CODES:
        return quote_address(code, song.booking_id)
    if code == turns.WRITE_BRIEF.code:
        return reverse("bookings:brief", args=[song.pk])
    if code in DESK_CODES:
        return reverse("intake:sheet", args=[song.pk])
    return song.get_absolute_url() + ANCHORS.get(code, "")


def quote_address(code: str, booking_id: int) -> str:
    address = reverse("money:quote", args=[booking_id])
    return f"{address}#payments" if code in PAY_CODES else address


def booking_turn(booking: Booking, user: User) -> TurnShown:
    """A booking is with whoever reads it as soon as its quote or one of its songs is."""
    reader = turn_of(user)
    waiting = [song for song in booking.songs.all() if song.turn == reader]
    is_own = booking.waits_for in WORDS_BY_CODE and _is_own(booking)
    if is_own and (booking.turn == reader or not waiting):
        return _own_turn(booking, yours=booking.turn == reader)
    if waiting:
        return _songs_turn(booking, waiting, reader)
    return _others_turn(booking)


def _is_own(booking: Booking) -> bool:
    """Whether the booking waits for something beside its songs: its quote, a song, or nothing any more."""
    return booking.is_over or booking.waits_for in (*QUOTE_CODES, turns.ADD_SONG.code)


def _own_turn(booking: Booking, *, yours: bool) -> TurnShown:
    what, label = _words(booking.waits_for, booking, yours=yours)
    is_quote = booking.waits_for in QUOTE_CODES
    to = quote_address(booking.waits_for, booking.pk) if is_quote else f"{booking.get_absolute_url()}#songs"
    who = who_in_words(booking.turn, booking)
    return TurnShown(yours, who, booking.turn_since, what, to if label else "", label)


def _songs_turn(booking: Booking, waiting: list[Song], reader: Turn) -> TurnShown:
    """One song says what it waits for; of several the first is one press away. One payment is due for all of them."""
    first, since = waiting[0], min(song.turn_since for song in waiting)
    what, label = f"{len(waiting)} songs are waiting for you.", f"To “{first.title}”"
    href = first.get_absolute_url()
    if payment := _payment_of(waiting):
        what, label = _words(payment, booking, yours=True)
        href = quote_address(payment, booking.pk)
    elif len(waiting) == 1:
        words, label = _words(first.waits_for, booking, yours=True)
        what, href = f"“{first.title}”: {words}", _address_in(booking, first)
    who = who_in_words(reader, booking)
    return TurnShown(yours=True, who=who, since=since, what=what, href=href, label=label)


def _payment_of(songs: list[Song]) -> str:
    """The payment that all of these songs wait for, if it is one."""
    codes = {song.waits_for for song in songs}
    return codes.pop() if len(codes) == 1 and codes <= set(PAY_CODES) else ""


def _address_in(booking: Booking, song: Song) -> str:
    song.booking = booking
    return song_address(song)


def _others_turn(booking: Booking) -> TurnShown:
    who = who_in_words(booking.turn, booking)
    theirs = [song for song in booking.songs.all() if song.turn == booking.turn]
    what, href, label = f"{len(theirs)} songs are waiting for {who}.", "", ""
    if booking.waits_for == turns.CHECK.code:
        what = "Our checks are measuring the files."
    elif payment := _payment_of(theirs):
        what, label = _words(payment, booking, yours=False)
        href = quote_address(payment, booking.pk) if label else ""
    elif len(theirs) == 1:
        words, _ = _words(theirs[0].waits_for, booking, yours=False)
        what = f"“{theirs[0].title}”: {words}"
    return TurnShown(yours=False, who=who, since=booking.turn_since, what=what, href=href, label=label)


def _words(code: str, booking: Booking, *, yours: bool) -> tuple[str, str]:
    """The sentence and the button's label for one reader."""
    words = WORDS_BY_CODE[code]
    sentence = (words.yours if yours else words.theirs).format(**names_at(booking))
    return sentence[:1].upper() + sentence[1:], words.label if yours else words.their_label


def asks(row: Booking | Song) -> str:
    """What whoever is waited for is asked to do, for an e-mail to them."""
    return WORDS_BY_CODE[row.waits_for].yours


def who_in_words(turn: str, booking: Booking) -> str:
    names = names_at(booking)
    words = {Turn.DRUMMER: names["drummer"], Turn.CLIENT: names["client"], Turn.HOUSE: "our checks", Turn.NOBODY: ""}
    return words[Turn(turn)]


def names_at(booking: Booking) -> dict[str, str]:
    """The two sides by name; several clients are "the client"."""
    members = list(booking.members.all())
    client = members[0].user.name if len(members) == 1 else "the client"
    return {"drummer": booking.created_by.name, "client": client}
