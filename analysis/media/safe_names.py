"""File names that every system keeps, and a safe one for each that is not.

Common practice, no source: letters, digits, hyphen and underscore, no spaces, punctuation or accents; names that some
systems reserve break there. The longest name is a house choice.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Sequence
from pathlib import PurePosixPath

_SAFE_NAME = re.compile(r"^[A-Za-z0-9_-]+\.wav$")
_RESERVED = re.compile(r"^(con|prn|aux|nul|com\d|lpt\d)$", re.I)
LONGEST_NAME = 100  # characters (house choice)
_SPELLED_OUT = str.maketrans(
    {"ß": "ss", "Æ": "Ae", "æ": "ae", "Ø": "O", "ø": "o", "ł": "l", "Ł": "L", "&": "and", "đ": "d"}
)


def spelled_out(text: str) -> str:
    """Letters that lose no accent but would be lost, in two letters or another."""
    return text.translate(_SPELLED_OUT)


def is_safe(name: str) -> bool:
    stem = name.rpartition(".")[0]
    return bool(_SAFE_NAME.match(name)) and not _RESERVED.match(stem) and len(name) <= LONGEST_NAME


def safe_name(name: str) -> str:
    """A name in the safe set that still says what the file is; the original stays in its metadata."""
    base = PurePosixPath(name.replace("\\", "/").replace("/", " ")).name
    stem = re.sub(r"\.wav[. ]*$", "", base, flags=re.I)
    plain = unicodedata.normalize("NFKD", spelled_out(stem)).encode("ascii", "ignore").decode()
    words = re.sub(r"[^A-Za-z0-9-]+", "_", plain).strip("_-")[: LONGEST_NAME - 10] or "audio"
    return f"{'file_' if _RESERVED.match(words) else ''}{words}.wav"


def same_to_a_disk(name: str) -> str:
    """Names that are equal by this end in one file on some disk: composed or not, capitals or not."""
    return unicodedata.normalize("NFC", name).casefold().rstrip(". ")


def collisions(names: Sequence[str]) -> dict[str, str]:
    """Each name that a disk may take for an earlier one, with that one."""
    first: dict[str, str] = {}
    clashing: dict[str, str] = {}
    for name in names:
        other = first.setdefault(same_to_a_disk(name), name)
        if other is not name:
            clashing[name] = other
    return clashing
