"""Every combination, against the rules of turn_table.py."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from itertools import product
from pathlib import Path
from typing import Any, cast

from portal.bookings.stages import BookingStage, QuoteState, SongStage, Turn
from portal.bookings.turn_words import WORDS
from portal.bookings.turns import (
    DONE,
    HEAR_MIX,
    SEVERAL,
    TRACK,
    BookingFacts,
    SongFacts,
    Wait,
    booking_wait,
    wait_of,
)
from tests.portal.bookings.turn_table import BOOKINGS, IMPOSSIBLE, SONGS, Row, as_page, rows_of

STAGES, QUOTES = [stage.value for stage in BookingStage], [state.value for state in QuoteState]
YES_NO = (False, True)
FLAGS = [name for name in SongFacts._fields if name not in ("booking_stage", "quote_state", "stage")]
SONG_ROWS, BOOKING_ROWS = rows_of(SONGS), rows_of(BOOKINGS)


def fits(row: Row, **words: str) -> bool:
    return all(not getattr(row, name) or word in getattr(row, name) for name, word in words.items())


class NotSaidError(Exception):
    """Somebody asks for a flag that is open yet."""


class Said(dict[str, Any]):
    """The facts that are said. Of one that is not, both cases have to be looked at."""

    def __getattr__(self, name: str) -> Any:
        if name not in self:
            raise NotSaidError(name)
        return self[name]


def songs_by_row(said: Said, rows: list[Row]) -> Iterator[tuple[Row | None, Wait, Said]]:
    """The first row that fits and the code's answer, in every combination of the flags that either of them asks for:
    a flag that neither asks for makes no difference."""
    try:
        row = next((row for row in rows if all(getattr(said, name) == value for name, value in row.facts)), None)
        yield row, wait_of(cast(SongFacts, said)), said
    except NotSaidError as asked:
        for value in YES_NO:
            yield from songs_by_row(Said(said, **{str(asked): value}), rows)


def test_every_combination_of_a_song_gives_what_the_first_row_says() -> None:
    wrong: list[Said] = []
    used: Counter[Row | None] = Counter()
    for booking, quote, stage in product(STAGES, QUOTES, [stage.value for stage in SongStage]):
        rows = [row for row in SONG_ROWS if fits(row, booking=booking, quote=quote, song=stage)]
        words = Said(booking_stage=booking, quote_state=quote, stage=stage)
        for row, wait, said in songs_by_row(words, rows):
            used[row] += 2 ** (len(FLAGS) + len(words) - len(said))
            is_right = row is not None and (wait in WORDS if row.code == IMPOSSIBLE else wait == (row.who, row.code))
            if not is_right:
                wrong.append(said)

    assert wrong[:3] == []
    assert sum(used.values()) == len(STAGES) * len(QUOTES) * len(SongStage) * 2 ** len(FLAGS)
    assert [row.cells for row in SONG_ROWS if not used[row]] == [], "rows that no combination reaches"


def test_every_combination_of_a_booking_gives_what_the_first_row_says() -> None:
    sides = {turn.value: Wait(turn, f"something for {turn.value}") for turn in Turn}
    used: Counter[Row] = Counter()
    for booking, quote, agreed_once in product(STAGES, QUOTES, YES_NO):
        for present in product(YES_NO, repeat=len(sides)):
            songs = [wait for wait, is_there in zip(sides.values(), present, strict=True) if is_there]
            whom = {wait.who.value for wait in songs}
            row = next(
                row
                for row in BOOKING_ROWS
                if fits(row, booking=booking, quote=quote)
                and (not row.song or row.song & whom)
                and all(value == agreed_once for _, value in row.facts)
            )
            used[row] += 1
            wait = booking_wait(BookingFacts(booking, quote, agreed_once), songs)
            code = f"something for {row.who}" if row.code == "(of its songs)" else row.code
            assert row.code == IMPOSSIBLE or wait == (row.who, code), (booking, quote, agreed_once, songs)
    assert [row.cells for row in BOOKING_ROWS if not used[row]] == [], "rows that no combination reaches"


def test_songs_that_wait_for_different_things_are_several() -> None:
    facts = BookingFacts(BookingStage.WORKING, QuoteState.ACCEPTED, agreed_once=True)
    assert booking_wait(facts, [TRACK, TRACK, HEAR_MIX, DONE]) == TRACK
    assert booking_wait(facts, [HEAR_MIX, TRACK, Wait(Turn.DRUMMER, "deliver")]) == (Turn.DRUMMER, SEVERAL)


def test_every_wait_has_words_for_both_sides() -> None:
    for wait, words in WORDS.items():
        assert words.theirs, wait
        assert bool(words.yours) == (wait.who in (Turn.DRUMMER, Turn.CLIENT)), wait
        assert bool(words.label) == bool(words.yours), wait


def test_the_page_of_turns_is_current() -> None:
    page = Path(__file__).parents[3] / "docs" / "turns.md"
    assert page.read_text("utf-8") == as_page(), "python -m tests.portal.bookings.turn_table > docs/turns.md"
