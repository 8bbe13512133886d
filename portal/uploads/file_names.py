"""Names that senders give their files: shown to people, never used as a path."""

from __future__ import annotations

import unicodedata

from portal.clean_text import BIDI_CONTROLS

LONGEST_NAME = 255
LONGEST_ENDING = 16
NO_NAME = "unnamed file"
# Joiners hold emoji and several scripts together: the only format characters that stay.
JOINERS = frozenset("\u200c\u200d")


def clean(name: str) -> str:
    """Make a name fit to show: its last path part, composed (NFC), without control characters, at most 255 long."""
    last_part = unicodedata.normalize("NFC", name).replace("\\", "/").rpartition("/")[2]
    shown = " ".join("".join(character for character in last_part if is_shown(character)).split())
    return shorten(shown) if shown.strip(". ") else NO_NAME


def is_shown(character: str) -> bool:
    if character in JOINERS or character.isspace():
        return True
    return character not in BIDI_CONTROLS and not unicodedata.category(character).startswith("C")


def shorten(name: str) -> str:
    """Cut the middle: the ending tells what the file is."""
    if len(name) <= LONGEST_NAME:
        return name
    stem, dot, ending = name.rpartition(".")
    tail = f"…{dot}{ending}" if stem and len(ending) <= LONGEST_ENDING else "…"
    return name[: LONGEST_NAME - len(tail)] + tail


def numbered(name: str, number: int) -> str:
    """ "kick.wav" and 2 are "kick (2).wav", cut where it would become too long."""
    stem, dot, ending = name.rpartition(".")
    has_ending = bool(stem) and len(ending) <= LONGEST_ENDING
    tail = f" ({number}){dot}{ending}" if has_ending else f" ({number})"
    return (stem if has_ending else name)[: LONGEST_NAME - len(tail)] + tail
