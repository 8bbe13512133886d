"""Titles as parts of file names."""

from __future__ import annotations

import re
import unicodedata

TITLE_LENGTH = 60


def plain_title(title: str) -> str:
    """A title fit for any file system: letters and figures of any script, everything else a hyphen."""
    plain = re.sub(r"[^\w]+", "-", unicodedata.normalize("NFC", title)).strip("-_")
    return plain[:TITLE_LENGTH] or "song"
