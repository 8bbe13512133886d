"""What a person is told when something cannot be prepared."""

OVER = "This booking is over: no session packs are made for it."
CLICK_STAYS = "This booking is over: its click stays as it is."


class PrepError(Exception):
    """Its text is a sentence for the drummer."""
