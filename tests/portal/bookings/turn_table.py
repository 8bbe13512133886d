"""Whose turn it is, stated as rules, independently of the code: the first row that fits a combination counts.

usage: python -m tests.portal.bookings.turn_table > docs/turns.md

`*` is anything. A column may name several words, or those that it leaves out ("not ..."). Under "and" stand facts
that have to hold, or with "no ..." not.
"""

from __future__ import annotations

import sys
from dataclasses import dataclass

from portal.bookings.stages import SongStage

HEAD = ("booking", "quote", "song", "and", "who", "waits for")
IMPOSSIBLE = "impossible"

SONGS = """
closed          | *             | *                           |                    | nobody  | closed
declined        | *             | *                           |                    | nobody  | declined
cancelled       | *             | *                           |                    | nobody  | cancelled
*               | *             | taken-out                   |                    | nobody  | taken-out
enquiry         | sent accepted | *                           |                    |         | impossible
quoted          | accepted      | *                           |                    |         | impossible
agreed          | none draft    | *                           |                    |         | impossible
enquiry quoted  | *             | *                           | deposit missing    |         | impossible
enquiry quoted  | *             | *                           | balance missing    |         | impossible
*               | none draft    | *                           | deposit missing    |         | impossible
*               | none draft    | *                           | balance missing    |         | impossible
agreed          | *             | not waiting                 |                    |         | impossible
delivered       | *             | not delivered accepted      |                    |         | impossible
*               | *             | waiting                     | files              |         | impossible
*               | *             | not in-review delivered accepted | mix accepted  |         | impossible
*               | *             | not tracking delivered accepted  | change asked  |         | impossible
*               | *             | checking                    |                    | house   | check
*               | *             | with-client on-desk ready   | question open      | client  | answer-question
*               | *             | with-client on-desk ready   | file promised      | client  | send-promised-file
*               | *             | with-client on-desk ready   | listening open     | client  | hear-bars
enquiry quoted  | sent          | waiting with-client on-desk ready |              | client  | answer-quote
enquiry quoted  | draft         | waiting with-client on-desk ready |              | drummer | send-quote
enquiry         | none          | waiting with-client on-desk ready |              | drummer | write-quote
quoted          | none          | waiting with-client on-desk ready |              | drummer | renew-quote
*               | *             | waiting                     | brief written      | client  | send-files
*               | *             | waiting                     |                    | client  | write-brief
*               | *             | with-client on-desk         | draft held         | drummer | send-draft
*               | *             | with-client on-desk         | no map approved    | drummer | approve-map
*               | *             | with-client on-desk         | stop open          | drummer | settle-findings
*               | *             | with-client on-desk         | deposit missing    | client  | pay-deposit
*               | *             | with-client on-desk         |                    | drummer | mark-ready
*               | *             | ready                       | deposit missing    | client  | pay-deposit
*               | *             | ready                       |                    | drummer | track
*               | *             | tracking                    | change asked       | drummer | change-mix
*               | *             | tracking                    |                    | drummer | send-mix
*               | *             | in-review          | mix accepted, set being corrected | house | correct-set
*               | *             | in-review          | mix accepted, set being checked | house   | check-set
*               | *             | in-review          | mix accepted, set failed | drummer | mend-set
*               | *             | in-review                   | mix accepted       | drummer | deliver
*               | *             | in-review                   |                    | client  | hear-mix
*               | *             | delivered                   | balance missing    | client  | pay-balance
*               | *             | delivered                   |                    | client  | accept-files
*               | *             | accepted                    |                    | nobody  | done
"""

# Under "song": at least one song waits for that side.
BOOKINGS = """
closed          | *             | *       |             | nobody  | closed
declined        | *             | *       |             | nobody  | declined
cancelled       | *             | *       |             | nobody  | cancelled
*               | none draft    | *       | agreed once |         | impossible
*               | accepted      | *       | no agreed once |      | impossible
enquiry         | sent accepted | *       |             |         | impossible
quoted          | accepted      | *       |             |         | impossible
enquiry quoted  | *             | *       | agreed once |         | impossible
agreed          | *             | *       | no agreed once |      | impossible
*               | sent          | *       | agreed once | client  | answer-new-quote
*               | sent          | *       |             | client  | answer-quote
enquiry quoted  | draft         | *       |             | drummer | send-quote
enquiry         | none          | *       |             | drummer | write-quote
quoted          | none          | *       |             | drummer | renew-quote
*               | *             | drummer |             | drummer | (of its songs)
*               | *             | client  |             | client  | (of its songs)
*               | *             | house   |             | house   | (of its songs)
*               | *             | *       |             | drummer | add-song
"""
FACTS = {
    "deposit missing": "deposit_missing",
    "balance missing": "balance_missing",
    "brief written": "brief_written",
    "files": "has_files",
    "question open": "question_open",
    "file promised": "file_promised",
    "listening open": "listening_open",
    "map approved": "map_approved",
    "stop open": "stop_open",
    "draft held": "draft_held",
    "mix accepted": "mix_accepted",
    "change asked": "change_requested",
    "set being checked": "set_checking",
    "set being corrected": "set_correcting",
    "set failed": "set_failed",
    "agreed once": "agreed_once",
}
INTRODUCTION = """\
# Whose turn it is

The one function `portal.bookings.turns.wait_of` says who a song waits for, and what for; `booking_wait` says it for a
booking. Pages, board, desk and e-mails show what these two say and nothing else. Of each table the first row that fits
counts. `*` is anything. What cannot happen says "impossible". This page is written by
`python -m tests.portal.bookings.turn_table > docs/turns.md`, and a test holds it to the code.
"""


@dataclass(frozen=True)
class Row:
    cells: tuple[str, ...]
    booking: frozenset[str]
    quote: frozenset[str]
    song: frozenset[str]
    # Facts by their names in the code, and what each has to be.
    facts: tuple[tuple[str, bool], ...]
    who: str
    code: str


def rows_of(table: str) -> list[Row]:
    return [_row(tuple(cell.strip() for cell in line.split("|"))) for line in table.strip().splitlines()]


def _row(cells: tuple[str, ...]) -> Row:
    booking, quote, song, fact, who, code = cells
    facts = tuple((FACTS[one.removeprefix("no ")], not one.startswith("no ")) for one in fact.split(", ") if one)
    return Row(cells, _words(booking), _words(quote), _words(song), facts, who, code)


def _words(cell: str) -> frozenset[str]:
    """No words: anything."""
    if cell.startswith("not "):
        return frozenset(SongStage.values) - frozenset(cell.split())
    return frozenset() if cell == "*" else frozenset(cell.split())


def as_page() -> str:
    parts = [INTRODUCTION, "## A song", _as_markdown(SONGS), "## A booking", BOOKING_WORDS, _as_markdown(BOOKINGS)]
    return "\n".join(parts)


BOOKING_WORDS = """
Its own quote comes first. Under "song" it says whom at least one song waits for; the booking then waits for what those
songs wait for, or for "several" things. Each reader sees "your turn" where one of the songs waits for them.
"""


def _as_markdown(table: str) -> str:
    lines = [f"| {' | '.join(HEAD)} |", f"|{' --- |' * len(HEAD)}"]
    lines += [f"| {' | '.join(row.cells)} |" for row in rows_of(table)]
    return "\n" + "\n".join(lines) + "\n"


if __name__ == "__main__":
    sys.stdout.write(as_page())
