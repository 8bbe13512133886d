"""Who is waited for, and what for: one pure function for a song, one for its booking. Nothing else computes a turn.

The facts are plain columns of bookings and songs, set through `services.note_song` and `services.note_booking`; the
result is stored there as well (`turn`, `waits_for`, `turn_since`). `tests/portal/bookings/turn_table.py` states what
every combination has to give, and docs/turns.md shows it.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from datetime import datetime
from typing import NamedTuple, TypedDict

from portal.bookings.stages import OVER_STAGES, BookingStage, QuoteState, SongStage, Turn

BEFORE_THE_WORK = (BookingStage.ENQUIRY, BookingStage.QUOTED)


class SongNotes(TypedDict, total=False):
    """The facts of a song that apps above this one set."""

    has_files: bool
    question_open: bool
    file_promised: bool
    listening_open: bool
    map_approved: bool
    stop_open: bool
    draft_held: bool
    mix_accepted: bool
    change_requested: bool
    set_checking: bool
    set_correcting: bool
    set_failed: bool


class BookingNotes(TypedDict, total=False):
    """The facts of a booking that apps above this one set."""

    quote_state: str
    agreed_once: bool
    deposit_required: bool
    deposit_received_at: datetime | None
    balance_before_files: bool
    balance_received_at: datetime | None


class Wait(NamedTuple):
    """`code` is a stable word: it is stored, so it is never renamed or used for something else."""

    who: Turn
    code: str


class SongFacts(NamedTuple):
    """All that decides whose turn a song is."""

    booking_stage: str = BookingStage.WORKING
    quote_state: str = QuoteState.ACCEPTED
    deposit_missing: bool = False
    balance_missing: bool = False
    stage: str = SongStage.WAITING
    brief_written: bool = False
    has_files: bool = False
    question_open: bool = False
    file_promised: bool = False
    listening_open: bool = False
    map_approved: bool = False
    stop_open: bool = False
    draft_held: bool = False
    mix_accepted: bool = False
    change_requested: bool = False
    set_checking: bool = False
    set_correcting: bool = False
    set_failed: bool = False


class BookingFacts(NamedTuple):
    """What a booking waits for besides its songs."""

    stage: str
    quote_state: str
    agreed_once: bool


WRITE_QUOTE = Wait(Turn.DRUMMER, "write-quote")
SEND_QUOTE = Wait(Turn.DRUMMER, "send-quote")
RENEW_QUOTE = Wait(Turn.DRUMMER, "renew-quote")
ANSWER_QUOTE = Wait(Turn.CLIENT, "answer-quote")
ANSWER_NEW_QUOTE = Wait(Turn.CLIENT, "answer-new-quote")
ADD_SONG = Wait(Turn.DRUMMER, "add-song")
WRITE_BRIEF = Wait(Turn.CLIENT, "write-brief")
SEND_FILES = Wait(Turn.CLIENT, "send-files")
CHECK = Wait(Turn.HOUSE, "check")
ANSWER_QUESTION = Wait(Turn.CLIENT, "answer-question")
SEND_PROMISED_FILE = Wait(Turn.CLIENT, "send-promised-file")
HEAR_BARS = Wait(Turn.CLIENT, "hear-bars")
SEND_DRAFT = Wait(Turn.DRUMMER, "send-draft")
APPROVE_MAP = Wait(Turn.DRUMMER, "approve-map")
SETTLE_FINDINGS = Wait(Turn.DRUMMER, "settle-findings")
PAY_DEPOSIT = Wait(Turn.CLIENT, "pay-deposit")
MARK_READY = Wait(Turn.DRUMMER, "mark-ready")
TRACK = Wait(Turn.DRUMMER, "track")
SEND_MIX = Wait(Turn.DRUMMER, "send-mix")
CHANGE_MIX = Wait(Turn.DRUMMER, "change-mix")
HEAR_MIX = Wait(Turn.CLIENT, "hear-mix")
DELIVER = Wait(Turn.DRUMMER, "deliver")
CHECK_SET = Wait(Turn.HOUSE, "check-set")
CORRECT_SET = Wait(Turn.HOUSE, "correct-set")
MEND_SET = Wait(Turn.DRUMMER, "mend-set")
PAY_BALANCE = Wait(Turn.CLIENT, "pay-balance")
ACCEPT_FILES = Wait(Turn.CLIENT, "accept-files")
DONE = Wait(Turn.NOBODY, "done")
TAKEN_OUT = Wait(Turn.NOBODY, "taken-out")
OVER_WAITS: dict[str, Wait] = {stage: Wait(Turn.NOBODY, stage.value) for stage in OVER_STAGES}

QUOTE_WAITS = (WRITE_QUOTE, SEND_QUOTE, RENEW_QUOTE, ANSWER_QUOTE, ANSWER_NEW_QUOTE)
# What a drummer decides on the song sheet.
DESK_WAITS = (SEND_DRAFT, APPROVE_MAP, SETTLE_FINDINGS, MARK_READY)
# Songs of one booking that wait for one person, for different things.
SEVERAL = "several"
# While the work goes on, the booking waits for whoever comes first here among the people its songs wait for.
WORKING_TURN_ORDER = (Turn.DRUMMER, Turn.CLIENT, Turn.HOUSE)


def wait_of(facts: SongFacts) -> Wait:
    """Who a song waits for, and what for."""
    return OVER_WAITS.get(facts.booking_stage) or _BY_STAGE[facts.stage](facts)


def booking_wait(facts: BookingFacts, songs: Sequence[Wait]) -> Wait:
    """Who a booking waits for: its own quote comes first, then what its songs wait for."""
    if over := OVER_WAITS.get(facts.stage):
        return over
    if facts.quote_state == QuoteState.SENT:
        return ANSWER_NEW_QUOTE if facts.agreed_once else ANSWER_QUOTE
    if facts.stage in BEFORE_THE_WORK:
        return _quote_wait(facts.stage, facts.quote_state)
    who = next((turn for turn in WORKING_TURN_ORDER if any(wait.who == turn for wait in songs)), None)
    if who is None:
        return ADD_SONG
    codes = {wait.code for wait in songs if wait.who == who}
    return Wait(who, codes.pop() if len(codes) == 1 else SEVERAL)


def _quote_wait(stage: str, quote_state: str) -> Wait:
    """Before anything is agreed. A quote that was out and is no longer valid is to be renewed."""
    if quote_state == QuoteState.SENT:
        return ANSWER_QUOTE
    if quote_state == QuoteState.DRAFT:
        return SEND_QUOTE
    return RENEW_QUOTE if stage == BookingStage.QUOTED else WRITE_QUOTE


def _unagreed(facts: SongFacts) -> Wait | None:
    if facts.booking_stage in BEFORE_THE_WORK:
        return _quote_wait(facts.booking_stage, facts.quote_state)
    return None


def _asked(facts: SongFacts) -> Wait | None:
    """What the client was asked about the song, and has not answered."""
    if facts.question_open:
        return ANSWER_QUESTION
    if facts.file_promised:
        return SEND_PROMISED_FILE
    return HEAR_BARS if facts.listening_open else None


def _waiting(facts: SongFacts) -> Wait:
    if facts.has_files:
        return CHECK
    return _unagreed(facts) or (SEND_FILES if facts.brief_written else WRITE_BRIEF)


def _on_desk(facts: SongFacts) -> Wait:
    if wait := _asked(facts) or _unagreed(facts):
        return wait
    if facts.draft_held:
        return SEND_DRAFT
    if not facts.map_approved:
        return APPROVE_MAP
    if facts.stop_open:
        return SETTLE_FINDINGS
    return PAY_DEPOSIT if facts.deposit_missing else MARK_READY


def _ready(facts: SongFacts) -> Wait:
    return _asked(facts) or _unagreed(facts) or (PAY_DEPOSIT if facts.deposit_missing else TRACK)


def _in_review(facts: SongFacts) -> Wait:
    if not facts.mix_accepted:
        return HEAR_MIX
    if facts.set_correcting:
        return CORRECT_SET
    if facts.set_checking:
        return CHECK_SET
    return MEND_SET if facts.set_failed else DELIVER


_BY_STAGE: dict[str, Callable[[SongFacts], Wait]] = {
    SongStage.WAITING: _waiting,
    SongStage.CHECKING: lambda _: CHECK,
    SongStage.WITH_CLIENT: _on_desk,
    SongStage.ON_DESK: _on_desk,
    SongStage.READY: _ready,
    SongStage.TRACKING: lambda facts: CHANGE_MIX if facts.change_requested else SEND_MIX,
    SongStage.IN_REVIEW: _in_review,
    SongStage.DELIVERED: lambda facts: PAY_BALANCE if facts.balance_missing else ACCEPT_FILES,
    SongStage.ACCEPTED: lambda _: DONE,
    SongStage.TAKEN_OUT: lambda _: TAKEN_OUT,
}
