from datetime import date, timedelta

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from portal.bookings.board_filter import BoardFilter
from portal.bookings.board_page import CARDS_PER_PAGE, LANES, Lane, archive_page, board_page
from portal.bookings.models import Booking, Song
from portal.bookings.stages import OVER_STAGES, BookingStage, SongStage, Turn
from portal.people.models import User
from tests.factories import make_booking, make_client, make_drummer

pytestmark = pytest.mark.django_db


def titles(lane: Lane) -> list[str]:
    return [card.booking.title for card in lane.cards]


def on_board(user: User, number: str | None = None, **look: str) -> list[str]:
    return [title for lane in board_page(user, BoardFilter(**look), number).lanes for title in titles(lane)]


def test_every_stage_that_is_not_over_has_a_lane() -> None:
    assert {stage for stage, _ in LANES} == set(BookingStage) - set(OVER_STAGES)


def test_what_is_over_leaves_the_board_for_the_archive() -> None:
    drummer = make_drummer()
    for stage in BookingStage:
        make_booking(title=stage.value, stage=stage)
    assert on_board(drummer) == ["working", "agreed", "quoted", "enquiry", "delivered"]
    assert {booking.title for booking in archive_page(drummer, BoardFilter())} == set(OVER_STAGES)


def test_the_reader_s_turn_comes_first_then_what_is_due_first() -> None:
    client = make_client()
    for title, turn, due_on in [
        ("theirs, soon", Turn.DRUMMER, date(2030, 1, 1)),
        ("mine, no date", Turn.CLIENT, None),
        ("mine, late", Turn.CLIENT, date(2030, 3, 1)),
        ("mine, soon", Turn.CLIENT, date(2030, 2, 1)),
    ]:
        make_booking(client=client, title=title, stage=BookingStage.QUOTED, turn=turn, due_on=due_on)
    assert on_board(client) == ["mine, soon", "mine, late", "mine, no date", "theirs, soon"]


def test_a_card_counts_its_songs_in_the_order_of_the_course() -> None:
    booking = make_booking(songs=3)
    booking.songs.filter(position__gt=1).update(stage=SongStage.TRACKING)
    (lane,) = board_page(booking.created_by, BoardFilter()).lanes
    assert lane.cards[0].songs == ((1, "waiting for files"), (2, "tracking"))


@pytest.mark.parametrize(
    ("look", "seen"),
    [
        ({}, {"late", "soon", "later", "undated"}),
        ({"words": "ÖSTER"}, {"late"}),
        ({"words": "und"}, {"undated"}),
        ({"words": "%"}, set()),
        ({"stage": "working"}, {"soon"}),
        ({"turn": "client"}, {"later"}),
        ({"turn": "drummer"}, {"late", "soon", "undated"}),
        ({"due": "late"}, {"late"}),
        ({"due": "week"}, {"soon"}),
        ({"due": "month"}, {"soon", "later"}),
        ({"due": "none"}, {"undated"}),
        ({"due": "late", "words": "nothing like it"}, set()),
    ],
)
def test_the_board_is_filtered(look: dict[str, str], seen: set[str]) -> None:
    today, drummer = timezone.localdate(), make_drummer()
    make_booking(title="late", client=make_client(name="Öster Kvist"), due_on=today - timedelta(days=1))
    make_booking(title="soon", stage="working", due_on=today, songs=1, turn="client").songs.update(turn="drummer")
    make_booking(title="later", stage="quoted", turn="client", due_on=today + timedelta(days=20))
    make_booking(title="undated")
    Song.objects.exclude(booking__title="soon").delete()
    assert set(on_board(drummer, **look)) == seen


def test_nonsense_in_the_address_filters_nothing(client: Client) -> None:
    booking = make_booking(title="Spoon In Winter")
    client.force_login(booking.created_by)
    for query in ("?stage=no&turn=%00&due=42", "?page=-3", "?page=x", f"?words={'%25' * 400}"):
        for name in ("board", "archive"):
            assert client.get(reverse(f"bookings:{name}") + query).status_code == 200


def test_pages_hold_every_booking_once() -> None:
    drummer = make_drummer()
    for number in range(CARDS_PER_PAGE + 5):
        make_booking(drummer=drummer, title=f"{number}")
    pages = [on_board(drummer, number) for number in ("1", "2")]
    assert [len(page) for page in pages] == [CARDS_PER_PAGE, 5]
    assert len(set(pages[0] + pages[1])) == CARDS_PER_PAGE + 5
    (lane,) = board_page(drummer, BoardFilter(), "2").lanes
    assert lane.count == CARDS_PER_PAGE + 5


def test_the_archive_is_searched_and_keeps_its_query_count(client: Client) -> None:
    drummer = make_drummer()
    client.force_login(drummer)
    counts = []
    for colour in ("red", "blue"):
        for _ in range(4):
            make_booking(client=make_client(), drummer=drummer, stage="closed", title=f"Kettle {colour}")
        with CaptureQueriesContext(connection) as queries:
            text = client.get(reverse("bookings:archive"), {"words": "kettle RED"}).content.decode()
        counts.append(len(queries))
        assert "Kettle red" in text
        assert "Kettle blue" not in text
    assert counts[0] == counts[1]
    assert Booking.objects.count() == 8
