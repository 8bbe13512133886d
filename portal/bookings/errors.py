"""BookingError
├── BookingClosedError: nothing can be added to or cancelled in a booking that is over
└── BriefClosedError: the song is past the stages in which its brief counts
"""


class BookingError(Exception):
    """Something that a person did not expect; `str()` is the sentence for them."""


class BookingClosedError(BookingError):
    pass


class BriefClosedError(BookingError):
    pass
