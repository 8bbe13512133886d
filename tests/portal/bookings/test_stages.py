from portal.bookings.stages import (
    BOOKING_COURSE,
    OVER_STAGES,
    BookingStage,
    SongStage,
    song_course,
)


def test_the_course_runs_from_enquiry_to_closed() -> None:
    assert set(BOOKING_COURSE) | set(OVER_STAGES) == set(BookingStage)
    assert (BOOKING_COURSE[0], BOOKING_COURSE[-1]) == (BookingStage.ENQUIRY, BookingStage.CLOSED)


def test_the_course_shows_the_desk_or_the_client_at_one_place() -> None:
    at_desk, at_client = song_course(SongStage.ON_DESK), song_course(SongStage.WITH_CLIENT)
    # All stages but one of the two, and that of a song that was taken out.
    assert len(at_desk) == len(at_client) == len(SongStage) - 2
    assert SongStage.TAKEN_OUT not in at_desk
    assert at_desk.index(SongStage.ON_DESK) == at_client.index(SongStage.WITH_CLIENT)
    assert SongStage.WITH_CLIENT not in song_course(SongStage.TRACKING)
