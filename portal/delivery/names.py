"""When two file names are the same: file systems differ on case and Unicode form, so a set holds neither pair."""

from __future__ import annotations

from portal.folding import fold as fold_text

TRACK_SHEET_NAME = "track-sheet.txt"
HASHES_NAME = "sha256.txt"
PDF_NAME = "delivery-sheet.pdf"
SHEET_NAME = "sheet.json"
PHOTO_NAME = "kit-{number}.jpg"
RESERVED_NAMES = (TRACK_SHEET_NAME, HASHES_NAME, PDF_NAME, SHEET_NAME, "kit-1.jpg", "kit-2.jpg")


def fold(name: str) -> str:
    return fold_text(name)[:255]
