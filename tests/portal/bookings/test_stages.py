from portal.bookings.stages import (
    BOOKING_COURSE,
    OVER_STAGES,
    BookingStage,
    SongStage,
    song_course,
)


def course(now: str) -> list[str]:
    return [stage for stage, _ in song_course(now, for_client=False)]


def test_the_course_runs_from_enquiry_to_closed() -> None:
    assert set(BOOKING_COURSE) | set(OVER_STAGES) == set(BookingStage)
    assert (BOOKING_COURSE[0], BOOKING_COURSE[-1]) == (BookingStage.ENQUIRY, BookingStage.CLOSED)


def test_the_course_shows_the_desk_or_the_client_at_one_place() -> None:
    at_desk, at_client = course(SongStage.ON_DESK), course(SongStage.WITH_CLIENT)
    # All stages but one of the two, and that of a song that was taken out.
    assert len(at_desk) == len(at_client) == len(SongStage) - 2
    assert SongStage.TAKEN_OUT not in at_desk
    assert at_desk.index(SongStage.ON_DESK) == at_client.index(SongStage.WITH_CLIENT)
    assert SongStage.WITH_CLIENT not in course(SongStage.TRACKING)


def test_a_client_reads_of_themselves_as_you() -> None:
    words = dict(song_course(SongStage.WITH_CLIENT, for_client=True))
    assert words[SongStage.WITH_CLIENT] == "with you"
    assert dict(song_course(SongStage.WITH_CLIENT, for_client=False))[SongStage.WITH_CLIENT] == "with the client"
