"""A demo shows every stage: songs go on by what drummer and client press, and no move is made twice."""

from collections.abc import Iterator
from functools import cache
from pathlib import Path

import pytest
from django.utils import timezone
from pytest_django import Settings

from analysis import band
from analysis.band.short_songs import SHORT_SONG_BY_SLUG, DrumTake
from portal.bookings.models import Booking, Song, TimelineEntry
from portal.bookings.services import cancel_booking
from portal.delivery.models import Delivery
from portal.demo import going_on, tasks
from portal.demo.further_on import FURTHER_ON, GOES_ON_FOR, FurtherOn, Way
from portal.demo.jobs import client_of
from portal.demo.people import ENQUIRER
from portal.demo.sample_bookings import ALL_SONGS
from portal.demo.seed import seed_house
from portal.intake.checks import jobs
from portal.mailroom.models import Mail
from portal.takes import services as takes
from portal.takes.models import RoughMix
from tests.factories import make_check, make_source, measured_song

pytestmark = pytest.mark.django_db

# Stage, whose turn and for what; rough mixes, and the stage of the booking.
STANDS = {
    "ready": (("ready", "drummer", "track"), [], "working"),
    "in-review": (("in-review", "client", "hear-mix"), ["out", "change-asked"], "working"),
    "delivered": (("delivered", "client", "pay-balance"), ["accepted"], "delivered"),
    "accepted": (("accepted", "nobody", "closed"), ["accepted"], "closed"),
}


@pytest.fixture(autouse=True)
def _own_house(settings: Settings, tmp_path: Path) -> None:
    settings.DATA_DIR = tmp_path
    seed_house()


@pytest.fixture(autouse=True, scope="module")
def _played_once(tmp_path_factory: pytest.TempPathFactory) -> Iterator[None]:
    """A take of the same number sounds the same: it is played for the first test that sends it."""
    render_take = band.render_take

    @cache
    def played(slug: str, number: int) -> DrumTake:
        return render_take(SHORT_SONG_BY_SLUG[slug], tmp_path_factory.mktemp("take"), number=number)

    with pytest.MonkeyPatch.context() as patches:
        patches.setattr(band, "render_take", lambda song, _, number: played(song.slug, number))
        yield


def song_of(further: FurtherOn) -> Song:
    return Song.objects.select_related("booking").get(title=ALL_SONGS[further.slug].title)


def way_of(further: FurtherOn) -> Way:
    return Way(song_of(further).pk, further.slug, further.target.value)


def check(further: FurtherOn) -> None:
    """What the house does with the client's files, without measuring any."""
    song = song_of(further)
    make_source(song=song, sent_by=client_of(song))
    make_check(song=song, report=measured_song(bpm=ALL_SONGS[further.slug].brief.bpm))
    jobs.measure(song.pk)


def measure(song: Song) -> None:
    """What the house does with the drummer's files, without measuring any."""
    for mix in song.rough_mixes.filter(state=RoughMix.State.RECEIVED):
        mix.make_ready(report={}, proxy_key="proxies/none.flac")
    for opened in song.deliveries.filter(state=Delivery.State.CHECKING):
        opened.store_checks([], passed=True)


def go_all_the_way(further: FurtherOn) -> Song:
    song = song_of(further)
    for _ in range(5):
        going_on.go_on(way_of(further))
        if going_on.is_there(song_of(further), further.target):
            return song_of(further)
        measure(song)
    raise AssertionError(f"“{song}” is still {song_of(further).stage}")


def written() -> tuple[int, ...]:
    return tuple(rows.objects.count() for rows in (TimelineEntry, Mail, RoughMix, Delivery))


def test_every_stage_is_on_show() -> None:
    assert set(Booking.objects.values_list("stage", flat=True)) == {"enquiry", "quoted", "agreed"}
    assert [further.target for further in FURTHER_ON] == list(STANDS)


def test_who_asked_has_heard_nothing_from_the_house() -> None:
    asked = Booking.objects.get(stage="enquiry")

    assert (asked.turn, asked.waits_for, asked.members.get().told_at) == ("drummer", "write-quote", None)
    assert not Mail.objects.filter(to=ENQUIRER.email).exists()


def test_a_song_that_is_not_checked_waits() -> None:
    for further in FURTHER_ON:
        before = written()
        going_on.go_on(way_of(further))
        assert written() == before


@pytest.mark.parametrize("further", FURTHER_ON, ids=lambda further: further.target.value)
def test_a_checked_song_goes_on_to_where_it_is_to_stand_and_no_further(further: FurtherOn) -> None:
    stands, mixes, booking_stage = STANDS[further.target]
    check(further)

    song = go_all_the_way(further)

    assert (song.stage, song.turn, song.waits_for) == stands
    assert list(song.rough_mixes.values_list("state", flat=True)) == mixes
    assert song.booking.stage == booking_stage
    before = written()
    going_on.go_on(way_of(further))
    tasks.sweep()
    assert written() == before


def test_the_notes_of_the_song_in_review_are_the_clients() -> None:
    further = next(further for further in FURTHER_ON if further.target == "in-review")
    check(further)

    first = go_all_the_way(further).rough_mixes.get(number=1)

    assert (first.client_note, first.decided_by) == (going_on.CHANGE_WORDS, client_of(first.song))


def test_a_set_that_was_half_sent_is_completed() -> None:
    further = next(further for further in FURTHER_ON if further.target == "delivered")
    check(further)
    song = song_of(further)
    for _ in range(2):
        going_on.go_on(way_of(further))
        measure(song)
    opened = song.deliveries.get()
    opened.files.all()[0].delete()
    opened.reopen()

    assert go_all_the_way(further).deliveries.get().files.count() == 4


def test_a_set_that_fails_its_checks_is_left_to_the_drummer() -> None:
    further = next(further for further in FURTHER_ON if further.target == "delivered")
    check(further)
    song = song_of(further)
    for _ in range(2):
        going_on.go_on(way_of(further))
        measure(song)
    failed = [{"code": "clipping", "file": "", "passed": False, "value": 1, "limit": 0, "message": "It clips."}]
    song.deliveries.get().store_checks(failed, passed=False)

    going_on.go_on(way_of(further))
    assert song_of(further).stage == "in-review"


def test_a_booking_that_was_cancelled_stays_as_it_is() -> None:
    further = FURTHER_ON[0]
    check(further)
    song = song_of(further)
    cancel_booking(booking=song.booking, by=song.booking.created_by, reason="")

    going_on.go_on(way_of(further))
    assert song_of(further).stage == "on-desk"


def test_the_sweep_moves_on_what_is_not_there_yet_in_a_young_house_only() -> None:
    further = FURTHER_ON[0]
    check(further)
    Booking.objects.update(created_at=timezone.now() - GOES_ON_FOR)
    tasks.sweep()
    assert song_of(further).stage == "on-desk"

    Booking.objects.update(created_at=timezone.now())
    tasks.sweep()

    assert song_of(further).stage == "ready"


def test_two_at_once_move_a_song_once() -> None:
    further = FURTHER_ON[0]
    check(further)

    with going_on.locked(song_of(further).pk):
        going_on.go_on(way_of(further))

    assert song_of(further).stage == "on-desk"


def test_a_further_change_that_the_client_asks_for_is_the_drummers_to_answer() -> None:
    further = next(further for further in FURTHER_ON if further.target == "in-review")
    check(further)
    song = go_all_the_way(further)
    takes.ask_for_change(rough_mix=song.rough_mixes.all()[0], words="Softer.", by=client_of(song))

    tasks.sweep()

    assert (song_of(further).stage, song.rough_mixes.count()) == ("tracking", 2)
