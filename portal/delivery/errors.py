"""What can be refused about deliveries: DeliveryError → SetClosedError, NotCheckedError, BalanceMissingError,
NameTakenError, PhotoError, LinkGoneError, LinkUnknownError."""


class DeliveryError(Exception):
    """The answer is a sentence for whoever pressed the button."""


class SetClosedError(DeliveryError):
    """The set, or its song, is not at the stage for this."""


class NotCheckedError(DeliveryError):
    """Something still stands between the set and its release."""


class BalanceMissingError(DeliveryError):
    """The full files are released when the balance is recorded."""


class NameTakenError(DeliveryError):
    """Two files that were sent in one go have one name."""


class PhotoError(DeliveryError):
    """What was sent is no photograph, too large, or one too many."""


class LinkGoneError(DeliveryError):
    """A link that has expired or was withdrawn."""


class LinkUnknownError(DeliveryError):
    """No link of ours."""
