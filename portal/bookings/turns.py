"""Whose turn it is, as one reader sees it, and what that reader does next."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from django.urls import reverse

from portal.bookings.models import Booking, Song
from portal.bookings.stages import BookingStage, SongStage, Turn
from portal.people.models import User

BEFORE_THE_WORK = (BookingStage.ENQUIRY, BookingStage.QUOTED)


@dataclass(frozen=True)
class TurnShown:
    """What the turn banner says. `who` is empty when it is nobody's turn."""

    yours: bool
    who: str
    since: datetime
    what: str
    href: str = ""
    label: str = ""


@dataclass(frozen=True)
class Step:
    """What happens in a stage: said to whoever acts, and to whoever waits ({drummer} and {client} are names)."""

    yours: str
    theirs: str
    label: str = ""


BOOKING_STEPS = {
    BookingStage.ENQUIRY: Step("Write the quote and send it.", "{drummer} is writing the quote.", "Write the quote"),
    BookingStage.QUOTED: Step(
        "Read the quote, then accept or decline it.", "{client} is reading the quote.", "Read the quote"
    ),
    BookingStage.AGREED: Step(
        "Write the brief of each song and send its files.",
        "{client} is writing the briefs and sending the files.",
        "Begin",
    ),
    BookingStage.WORKING: Step("{songs} for you.", "{songs_theirs}."),
    BookingStage.DELIVERED: Step("Download what was delivered and accept it.", "{client} is reviewing the delivery."),
    BookingStage.CLOSED: Step("", "Everything is delivered and accepted."),
    BookingStage.DECLINED: Step("", "The quote was declined."),
    BookingStage.CANCELLED: Step("", "The booking was cancelled. Messages and files stay here."),
}
SONG_STEPS = {
    SongStage.WAITING: Step("Write the brief, then send the files.", "{client} sends the files.", "Write the brief"),
    SongStage.CHECKING: Step("", "The files are being measured. You don’t have to wait."),
    SongStage.WITH_CLIENT: Step("Answer the question with one tap.", "{client} has a question to answer.", "Answer it"),
    SongStage.ON_DESK: Step(
        "Review the findings, approve tempo and bar one, then mark it ready to track.",
        "{drummer} is reviewing the measurements.",
        "Open the song sheet",
    ),
    SongStage.READY: Step("It is ready to track.", "{drummer} has everything and will track it next.", "Open the song"),
    SongStage.TRACKING: Step(
        "Send a rough mix when you have one.", "{drummer} is tracking it.", "Open the rough mixes"
    ),
    SongStage.IN_REVIEW: Step(
        "Listen to the rough mix, then accept it or ask for a change.",
        "{client} is listening to the rough mix.",
        "Listen",
    ),
    SongStage.DELIVERED: Step(
        "Download your files and accept them.", "{client} is reviewing the files.", "Open the files"
    ),
    SongStage.ACCEPTED: Step("", "Delivered and accepted. Nothing left to do."),
}
# Out for review and the drummer's turn: the client has accepted the rough mix.
MIX_ACCEPTED = Step(
    "The rough mix is accepted: deliver the multitrack.",
    "The rough mix is accepted. {drummer} delivers the multitrack next.",
    "Open the delivery",
)
# On the desk and the client's turn: they were sent some bars to listen to.
LISTENING = Step(
    "Listen to some bars with a click and say whether they are right.",
    "{client} listens to some bars with the click.",
    "Listen",
)
# Delivered, and the files wait for the balance.
BALANCE_WAITS = Step(
    "Pay the balance: you can download the files as soon as it is recorded.",
    "The files are held until the balance is paid. Record it when it arrives.",
    "Open payments",
)
SONG_ANCHORS = {
    SongStage.WITH_CLIENT: "#messages",
    SongStage.READY: "#rough-mixes",
    SongStage.TRACKING: "#rough-mixes",
    SongStage.IN_REVIEW: "#rough-mixes",
    SongStage.DELIVERED: "#delivery",
}


def turn_of(user: User) -> Turn:
    return Turn.DRUMMER if user.is_drummer else Turn.CLIENT


def song_turn(song: Song, user: User) -> TurnShown:
    """Before anything is agreed, and after all is over, a song waits for what its booking waits for."""
    if song.booking.stage in BEFORE_THE_WORK or song.booking.is_over:
        return booking_turn(song.booking, user)
    step, yours = song_step(song), song.turn == turn_of(user)
    what = in_words(step.yours if yours else step.theirs, names_at(song.booking))
    href, label = song_link(song, step) if yours else ("", "")
    return TurnShown(yours, who_in_words(song.turn, song.booking), song.turn_since, what, href, label)


def song_step(song: Song) -> Step:
    if song.stage == SongStage.IN_REVIEW and song.turn == Turn.DRUMMER:
        return MIX_ACCEPTED
    if song.stage == SongStage.ON_DESK and song.turn == Turn.CLIENT:
        return LISTENING
    if song.stage == SongStage.DELIVERED and song.booking.files_wait_for_balance:
        return BALANCE_WAITS
    return SONG_STEPS[SongStage(song.stage)]


def song_link(song: Song, step: Step) -> tuple[str, str]:
    if song.stage == SongStage.WAITING:
        if song.brief.is_written:
            return f"{song.get_absolute_url()}#files", "Send the files"
        return reverse("bookings:brief", args=[song.pk]), step.label
    if step is LISTENING:
        return f"{song.get_absolute_url()}#listening", step.label
    if song.stage == SongStage.ON_DESK:
        return reverse("intake:sheet", args=[song.pk]), step.label
    if step is BALANCE_WAITS:
        return f"{reverse('money:quote', args=[song.booking_id])}#payments", step.label
    anchor = "#delivery" if step is MIX_ACCEPTED else SONG_ANCHORS.get(SongStage(song.stage), "")
    return f"{song.get_absolute_url()}{anchor}", step.label


def booking_turn(booking: Booking, user: User) -> TurnShown:
    """While the work goes on a booking is with whoever reads it as soon as one of its songs is."""
    step, turn, since = BOOKING_STEPS[BookingStage(booking.stage)], booking.turn, booking.turn_since
    waiting = [song for song in booking.songs.all() if song.turn == turn_of(user)]
    if booking.stage == BookingStage.WORKING and waiting:
        turn, since = turn_of(user), min(song.turn_since for song in waiting)
    yours = turn == turn_of(user)
    words = names_at(booking) | {
        "songs": "One song waits" if len(waiting) == 1 else f"{len(waiting)} songs wait",
        "songs_theirs": songs_of_others(booking, turn),
    }
    href, label = booking_link(booking, step, waiting) if yours else ("", "")
    what = in_words(step.yours if yours else step.theirs, words)
    return TurnShown(yours, who_in_words(turn, booking), since, what, href, label)


def songs_of_others(booking: Booking, turn: str) -> str:
    if turn == Turn.HOUSE:
        return "Our checks are measuring the files"
    count = sum(song.turn == turn for song in booking.songs.all())
    who = who_in_words(turn, booking)
    return f"One song waits for {who}" if count == 1 else f"{count} songs wait for {who}"


def booking_link(booking: Booking, step: Step, waiting: list[Song]) -> tuple[str, str]:
    if booking.stage in BEFORE_THE_WORK:
        return reverse("money:quote", args=[booking.pk]), step.label
    if waiting:
        return waiting[0].get_absolute_url(), step.label or f"To “{waiting[0].title}”"
    return "", ""


def in_words(sentence: str, words: dict[str, str]) -> str:
    filled = sentence.format(**words)
    return filled[:1].upper() + filled[1:]


def who_in_words(turn: str, booking: Booking) -> str:
    names = names_at(booking)
    words = {Turn.DRUMMER: names["drummer"], Turn.CLIENT: names["client"], Turn.HOUSE: "our checks", Turn.NOBODY: ""}
    return words[Turn(turn)]


def names_at(booking: Booking) -> dict[str, str]:
    """The two sides by name; several clients are "the client"."""
    members = list(booking.members.all())
    client = members[0].user.name if len(members) == 1 else "the client"
    return {"drummer": booking.created_by.name, "client": client}
