"""A demo shows every stage: songs go on by what drummer and client press, and no move is made twice."""

from pathlib import Path

import pytest
from pytest_django import Settings

from portal.bookings.models import Booking, Song, TimelineEntry
from portal.bookings.services import cancel_booking
from portal.delivery.models import Delivery
from portal.demo import going_on, tasks
from portal.demo.jobs import client_of
from portal.demo.people import ENQUIRER
from portal.demo.sample_bookings import ALL_SONGS, FURTHER_ON, FurtherOn
from portal.demo.seed import seed_house
from portal.intake.checks import apply_check, inputs
from portal.mailroom.models import Mail
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


def song_of(further: FurtherOn) -> Song:
    return Song.objects.select_related("booking").get(title=ALL_SONGS[further.slug].title)


def check(further: FurtherOn) -> None:
    """What the house does with the client's files, without measuring any."""
    song = song_of(further)
    make_source(song=song, sent_by=client_of(song))
    gathered = inputs.gather(song)
    assert gathered is not None
    report = measured_song(bpm=ALL_SONGS[further.slug].brief.bpm)
    apply_check.settle(song, gathered, make_check(song=song, report=report))


def measure(song: Song) -> None:
    """What the house does with the drummer's files, without measuring any."""
    for mix in song.rough_mixes.filter(state=RoughMix.State.RECEIVED):
        mix.make_ready(report={}, proxy_key="proxies/none.flac")
    for opened in song.deliveries.filter(state=Delivery.State.CHECKING):
        opened.store_checks([], passed=True)


def go_all_the_way(further: FurtherOn) -> Song:
    song = song_of(further)
    for _ in range(5):
        if going_on.go_on(song.pk, further.slug, further.target):
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
        assert not going_on.go_on(song_of(further).pk, further.slug, further.target)
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
    assert going_on.go_on(song.pk, further.slug, further.target)
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
        going_on.go_on(song.pk, further.slug, further.target)
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
        assert not going_on.go_on(song.pk, further.slug, further.target)
        measure(song)
    failed = [{"code": "clipping", "file": "", "passed": False, "value": 1, "limit": 0, "message": "It clips."}]
    song.deliveries.get().store_checks(failed, passed=False)

    assert not going_on.go_on(song.pk, further.slug, further.target)
    assert song_of(further).stage == "in-review"


def test_a_booking_that_was_cancelled_stays_as_it_is() -> None:
    further = FURTHER_ON[0]
    check(further)
    song = song_of(further)
    cancel_booking(booking=song.booking, by=song.booking.created_by, reason="")

    assert going_on.go_on(song.pk, further.slug, further.target)
    assert song_of(further).stage == "on-desk"


def test_it_looks_again_so_many_times(monkeypatch: pytest.MonkeyPatch) -> None:
    looks: list[str] = []

    def not_yet(song_id: int, slug: str, target: str) -> bool:
        looks.append(target)
        return False

    monkeypatch.setattr(going_on, "go_on", not_yet)

    tasks.go_on(1, "grey-folder", "in-review", looks_left=3)

    assert looks == ["in-review"] * 4
