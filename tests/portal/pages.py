"""Pages as a browser reads them."""

import re


def flat(html: str) -> str:
    """Line breaks and runs of spaces are one space; a space that must not break stays what it is."""
    return re.sub(r"[ \n]+", " ", html)
