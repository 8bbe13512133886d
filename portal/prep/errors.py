"""What a person is told when something cannot be prepared."""


class PrepError(Exception):
    """Its text is a sentence for the drummer."""
