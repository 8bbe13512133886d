"""What people are told when something cannot be done here.

IntakeError
├── GateError       a song is not ready to track: every reason at once
├── NoMapError      nothing measured that could be approved
├── MapInputError   a tempo, meter or bar one that makes no map
├── MapChangedError another map was approved, or the song measured again, since the page was opened
├── AnswerError     an answer that cannot be taken; what was asked still waits
├── BookingOverError  nothing of the booking's songs is decided any more
├── SongClosedError the song is past the stages in which its files change
├── FileGoneError   the original is no longer in the store
├── KeepingError    files of a booking that cannot be kept, or need not be
├── ZipError        a zip that is not taken as a whole
└── DamagedEntryError  what could not be read of a zip: the end of “… ”
"""

from __future__ import annotations

from collections.abc import Sequence


class IntakeError(Exception):
    """`str()` is the sentence for the person who asked."""


class GateError(IntakeError):
    def __init__(self, reasons: Sequence[str]) -> None:
        super().__init__(" ".join(reasons))
        self.reasons = tuple(reasons)


class NoMapError(IntakeError):
    pass


class MapInputError(IntakeError):
    pass


class MapChangedError(IntakeError):
    pass


class AnswerError(IntakeError):
    pass


class BookingOverError(IntakeError):
    def __init__(self) -> None:
        super().__init__("This booking is over: its songs stay as they are.")


class SongClosedError(IntakeError):
    pass


class FileGoneError(IntakeError):
    pass


class ZipError(IntakeError):
    pass


class DamagedEntryError(IntakeError):
    pass


class KeepingError(IntakeError):
    pass
