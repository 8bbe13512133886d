"""When two file names are the same: file systems differ on case and Unicode form, so a set holds neither pair."""

from __future__ import annotations

from portal.folding import fold as fold_text

TRACK_SHEET_NAME = "track-sheet.txt"
HASHES_NAME = "sha256.txt"
RESERVED_NAMES = (TRACK_SHEET_NAME, HASHES_NAME)


def fold(name: str) -> str:
    return fold_text(name)[:255]
