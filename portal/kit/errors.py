class KitError(Exception):
    """What came from a kit page cannot be taken; the text is a sentence for whoever sent it."""
