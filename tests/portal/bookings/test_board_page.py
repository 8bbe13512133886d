from datetime import date

import pytest

from portal.bookings.board_page import LANES, PAST_LANES, Lane, lanes_for
from portal.bookings.models import Booking
from portal.bookings.stages import BookingStage, SongStage, Turn
from portal.people.models import User
from tests.factories import make_booking, make_client, make_drummer

pytestmark = pytest.mark.django_db


def titles(lane: Lane) -> list[str]:
    return [card.booking.title for card in lane.cards]


def lanes(user: User) -> list[Lane]:
    return lanes_for(Booking.objects.all(), user)


def test_every_stage_has_a_lane() -> None:
    assert {stage for _, stages in LANES + PAST_LANES for stage in stages} == set(BookingStage)


def test_bookings_stand_in_the_lane_of_their_stage_and_empty_lanes_are_left_out() -> None:
    drummer = make_drummer()
    make_booking(title="a", stage=BookingStage.WORKING)
    make_booking(title="b", stage=BookingStage.DECLINED)
    make_booking(title="c", stage=BookingStage.CANCELLED)

    working, past = lanes(drummer)

    assert (working.name, working.is_past, titles(working)) == ("Working", False, ["a"])
    assert past.is_past
    assert sorted(titles(past)) == ["b", "c"]


def test_the_reader_s_turn_comes_first_then_what_is_due_first() -> None:
    client = make_client()
    for title, turn, due_on in [
        ("theirs, soon", Turn.DRUMMER, date(2030, 1, 1)),
        ("mine, no date", Turn.CLIENT, None),
        ("mine, late", Turn.CLIENT, date(2030, 3, 1)),
        ("mine, soon", Turn.CLIENT, date(2030, 2, 1)),
    ]:
        make_booking(client=client, title=title, stage=BookingStage.QUOTED, turn=turn, due_on=due_on)

    (lane,) = lanes(client)

    assert titles(lane) == ["mine, soon", "mine, late", "mine, no date", "theirs, soon"]


def test_a_card_counts_its_songs_in_the_order_of_the_course() -> None:
    booking = make_booking(songs=3)
    booking.songs.filter(position__gt=1).update(stage=SongStage.TRACKING)
    (lane,) = lanes(booking.created_by)
    assert lane.cards[0].songs == ((1, "waiting for files"), (2, "tracking"))
