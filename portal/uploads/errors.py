"""What can go wrong while a file arrives. Each says with which status a tus client is told.

UploadError
├── UploadRefusedError      the sender is told why, in one sentence
│   ├── TooLargeError       over the limit for one file
│   └── NoRoomError         the disk's reserve would be touched, or the booking has all that it may have
├── BadRequestError         a header that makes no sense
├── WrongVersionError       another protocol version
├── WrongContentTypeError   bytes that do not say they are bytes of an upload
├── OffsetConflictError     not where the upload stands
├── UploadBusyError         somebody else is writing to it
├── ChecksumMismatchError   the bytes are not those that were sent
├── UploadGoneError         expired, or refused
├── UploadFinishedError     received, or joined from parts: it cannot be changed here
├── PassingError            a fault that passes; what came is kept, and the sender tries again
│   ├── DiskFullError       the disk filled up while bytes came
│   ├── StoreDownError      the store does not take the bytes
│   └── DatabaseBusyError   the row could not be written
└── StoreError              the store did not give back what it was given
    └── SpoiltError         what is stored of the upload is not what came
"""

from __future__ import annotations

from typing import ClassVar


class UploadError(Exception):
    status: ClassVar[int] = 500

    def __init__(self, sentence: str) -> None:
        super().__init__(sentence)
        self.sentence = sentence


class UploadRefusedError(UploadError):
    status = 422


class TooLargeError(UploadRefusedError):
    status = 413


class NoRoomError(UploadRefusedError):
    status = 413


class BadRequestError(UploadError):
    status = 400


class WrongVersionError(UploadError):
    status = 412


class WrongContentTypeError(UploadError):
    status = 415


class OffsetConflictError(UploadError):
    status = 409


class UploadBusyError(UploadError):
    status = 423


class ChecksumMismatchError(UploadError):
    status = 460


class UploadGoneError(UploadError):
    status = 410


class UploadFinishedError(UploadError):
    status = 403


class PassingError(UploadError):
    status = 503


class DiskFullError(PassingError):
    status = 507


class StoreDownError(PassingError):
    pass


class DatabaseBusyError(PassingError):
    pass


class StoreError(UploadError):
    status = 500


class SpoiltError(StoreError):
    pass
