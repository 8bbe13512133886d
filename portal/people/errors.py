"""PeopleError
├── InvitationError: a link that lets nobody in (any more)
│   ├── InvitationUnknownError
│   ├── InvitationUsedError
│   └── InvitationExpiredError
├── TooManyTriesError: somebody may be guessing a password
├── AddressChangeError: an address that another account has, or a link that confirms none (any more)
└── DrummerAddressError: the address of a drummer where a client's was expected
"""


class PeopleError(Exception):
    """Something that a person did not expect; `str()` is the sentence for them."""


class InvitationError(PeopleError):
    pass


class InvitationUnknownError(InvitationError):
    pass


class InvitationUsedError(InvitationError):
    pass


class InvitationExpiredError(InvitationError):
    pass


class TooManyTriesError(PeopleError):
    pass


class DrummerAddressError(PeopleError):
    pass


class AddressChangeError(PeopleError):
    pass
