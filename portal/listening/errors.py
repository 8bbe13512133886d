"""What cannot be asked or answered, in sentences for people."""


class ListeningError(Exception):
    """The message is shown as it stands."""
