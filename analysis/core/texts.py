"""Texts that come out of files: tags, markers, what a decoder complains of. Cleaned here, before anyone keeps them."""

from __future__ import annotations

import re
import unicodedata
from typing import Any

_LONGEST = 500  # characters (house choice)
# Unicode's direction marks (UAX 9), which turn round the text beside them, the byte order mark, and the two that are no
# characters and that no XML may hold (XML 1.0, production 2).
_INVISIBLE = re.compile("[\u061c\u200e\u200f\u202a-\u202e\u2066-\u2069\ufeff\ufffe\uffff]")
_SURROGATE = re.compile("[\ud800-\udfff]")


def clean_text(text: str) -> str:
    """One line that can be shown and stored: no control characters, no direction marks, no half characters.

    A zero byte divides values (ID3v2.4, section 4.2); they are joined by a stroke.
    """
    values = (_one_line(value) for value in text.split("\0"))
    return " / ".join(value for value in values if value)[:_LONGEST]


def _one_line(text: str) -> str:
    visible = _SURROGATE.sub("\ufffd", _INVISIBLE.sub("", text))
    spaced = "".join(" " if unicodedata.category(character) == "Cc" else character for character in visible)
    return " ".join(spaced.split())


def storable(value: Any) -> Any:
    """JSON without what no database stores: zero bytes and half characters, in any text or key."""
    if isinstance(value, str):
        return _SURROGATE.sub("\ufffd", value).replace("\0", "")
    if isinstance(value, list):
        return [storable(item) for item in value]
    if isinstance(value, dict):
        return {storable(key): storable(item) for key, item in value.items()}
    return value


def as_utf8(text: str) -> str:
    """What was read byte by byte in Latin-1, as UTF-8 where that is what the bytes are."""
    try:
        return text.encode("latin-1").decode("utf-8")
    except UnicodeError:
        return text
