"""BookingError
├── BookingClosedError: nothing can be added to or cancelled in a booking that is over
├── CorrectionError: something binds both sides, or stands otherwise by now
└── BriefClosedError: the song is past the stages in which its brief counts
"""


class BookingError(Exception):
    """Something that a person did not expect; `str()` is the sentence for them."""


class BookingClosedError(BookingError):
    pass


class BriefClosedError(BookingError):
    pass


class CorrectionError(BookingError):
    pass
