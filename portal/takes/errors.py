"""What can be refused about takes: TakesError → NotReadyError, NotDecidableError. The text is for who asked."""


class TakesError(Exception):
    """The answer is a sentence for whoever pressed the button."""


class NotReadyError(TakesError):
    """The song or the mix is not at the stage for this."""


class NotDecidableError(TakesError):
    """A newer mix is out, or this one was decided."""
