"""Fills a house of its own with bookings, and times its pages before and after. Times are CPU time of the process,
SQLite included: what else runs on the machine does not count."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from datetime import timedelta
from typing import Any

from django.core.management import call_command
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from bench.speed.engine import print_wanted
from portal.bookings.models import Booking, Brief, Member, Song
from portal.bookings.stages import BookingStage, SongStage
from portal.folding import FoldedField
from portal.intake.models import Finding, SourceFile
from portal.mailroom.models import Message
from portal.people.models import User

REPEATS, WARM_UPS = 60, 5
MOST_TIMES_EMPTY = 2.0
# As many bookings as fill a page of each list: beyond it the size of the house should hardly be felt.
FEW = 60
CLIENTS, SONGS_EACH, FILES_EACH, MESSAGES_EACH = 200, 3, 3, 5
WORDS = ("ladder", "kettle", "umbrella", "gravel", "lantern", "barrel", "pocket", "window", "carrot", "pebble")
STAGES = tuple(SongStage)
PAGES = {
    "board": "/board/",
    "board, filtered": "/board/?words=kettle&turn=drummer",
    "archive": "/archive/",
    "desk": "/desk/",
    "desk, filtered": "/desk/?words=kettle&show=yours",
    "search, a common word": "/search/?q=ladder",
    "search, two words": "/search/?q=ladder+1234",
    "search, nothing found": "/search/?q=nobody+wrote+this",
}


@dataclass(frozen=True)
class Timed:
    queries: int
    p95_ms: float


def measure(bookings: int, songs_of_one: int) -> None:
    call_command("migrate", verbosity=0, interactive=False)
    drummer = User.objects.create_user("drummer@example.com", "x", name="Drummer", role=User.Role.DRUMMER)
    browser = Client()
    browser.force_login(drummer)
    empty = {name: timed(browser, address) for name, address in PAGES.items()}
    fill(drummer, range(FEW), SONGS_EACH)
    few = {name: timed(browser, address) for name, address in PAGES.items()}
    large = fill(drummer, range(FEW, bookings), songs_of_one)
    full = {name: timed(browser, address) for name, address in PAGES.items()}
    print(f"  {'':<26}{'queries':>21}{'p95, CPU ms':>24}{'times':>16}")
    print(f"  {'page':<26}{'empty':>7}{FEW:>7}{bookings:>7}{'empty':>9}{FEW:>8}{bookings:>7}{'empty':>9}{FEW:>7}")
    for name, now in full.items():
        rows = (empty[name], few[name], now)
        queries = "".join(f"{row.queries:>7}" for row in rows)
        times = "".join(f"{row.p95_ms:>8.1f}" for row in rows)
        print(f"  {name:<26}{queries}{times}{now.p95_ms / rows[0].p95_ms:>9.2f}{now.p95_ms / rows[1].p95_ms:>7.2f}")
    page = timed(browser, large.get_absolute_url())
    print(f"  the booking with {songs_of_one} songs: {page.queries} queries, p95 {page.p95_ms:.1f} CPU ms")
    for name in ("board", "desk"):
        print_wanted(f"{name}: times a house of {FEW}", full[name].p95_ms / few[name].p95_ms, most=MOST_TIMES_EMPTY)
        print_wanted(f"{name}: times an empty house", full[name].p95_ms / empty[name].p95_ms, most=MOST_TIMES_EMPTY)


def timed(browser: Client, address: str) -> Timed:
    with CaptureQueriesContext(connection) as queries:
        opened(browser, address)
    asked = len(queries)  # the next request empties the log
    for _ in range(WARM_UPS):
        opened(browser, address)
    taken = sorted(_cpu_ms(lambda: opened(browser, address)) for _ in range(REPEATS))
    return Timed(asked, taken[round(0.95 * (REPEATS - 1))])


def opened(browser: Client, address: str) -> None:
    response = browser.get(address, headers={"host": "localhost"})
    if response.status_code != 200:
        raise RuntimeError(f"{address} answered {response.status_code}")


def _cpu_ms(call: Callable[[], None]) -> float:
    before = time.process_time()
    call()
    return 1000 * (time.process_time() - before)


def fill(drummer: User, numbers: range, songs_of_one: int) -> Booking:
    """Half of the bookings are over; of the others' songs some wait, some have findings. The first has many songs."""
    clients = made(
        User(email=f"client{n}@example.com", name=f"{WORDS[n % 10].title()} {n}", password="")
        for n in numbers[:CLIENTS]
    )
    stages = (*BookingStage, BookingStage.WORKING, BookingStage.CLOSED)
    today = timezone.localdate()
    bookings = made(
        Booking(
            title=f"{WORDS[n % 10].title()} {WORDS[n // 10 % 10]} {n}",
            created_by=drummer,
            stage=BookingStage.WORKING if n == numbers[0] else stages[n % 10],
            turn=("drummer", "client", "nobody")[n % 3],
            due_on=today + timedelta(days=n % 90) if n % 4 else None,
        )
        for n in numbers
    )
    made(Member(booking=booking, user=clients[n % len(clients)]) for n, booking in enumerate(bookings))
    songs = made(
        Song(
            booking=booking,
            title=f"{WORDS[(n + m) % 10].title()} under {WORDS[n % 7]}",
            position=m + 1,
            stage=STAGES[(n + m) % len(STAGES)],
            turn=("drummer", "client", "house")[(n + m) % 3],
        )
        for n, booking in enumerate(bookings)
        for m in range(songs_of_one if n == 0 else SONGS_EACH)
    )
    made(Brief(song=song) for song in songs)
    fill_songs(drummer, bookings, songs)
    first: Booking = bookings[0]
    return first


def fill_songs(drummer: User, bookings: list[Booking], songs: list[Song]) -> None:
    made(
        SourceFile(
            song=song, sent_by=drummer, name=f"{WORDS[(n + m) % 10]} {m}.wav", sha256=f"{n:064x}", key="x", size_bytes=1
        )
        for n, song in enumerate(songs)
        for m in range(FILES_EACH)
    )
    made(
        Message(
            booking=booking,
            key=f"bench:{booking.pk}:{m}",
            subject="A word",
            body=f"About the {WORDS[m]} in bar {n}. " * 4,
        )
        for n, booking in enumerate(bookings)
        for m in range(MESSAGES_EACH)
    )
    made(
        Finding(song=song, code="clipped", severity=("stop", "ask", "note")[n % 3])
        for n, song in enumerate(songs)
        if n % 4 == 0
    )


def made(rows: Iterable[Any]) -> list[Any]:
    rows = list(rows)
    for row in rows:
        for field in row._meta.concrete_fields:
            if isinstance(field, FoldedField):
                field.pre_save(row, True)
    model = type(rows[0])
    return list(model.objects.bulk_create(rows, batch_size=500))
