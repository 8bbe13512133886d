"""What can be refused about takes: TakesError → NotReadyError, NotDecidableError,
FurtherRoundError, NoteError. The text is for who asked."""


class TakesError(Exception):
    """The answer is a sentence for whoever pressed the button."""


class NotReadyError(TakesError):
    """The song or the mix is not at the stage for this."""


class NotDecidableError(TakesError):
    """A newer mix is out, or this one was decided."""


class FurtherRoundError(TakesError):
    """The round is not one that the client's page showed, or goes beyond the quote without their word on it."""


class NoteError(TakesError):
    """A note cannot be taken, or was changed meanwhile."""
