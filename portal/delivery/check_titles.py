"""What each check of a set is called on pages, by its code; and what passed, a line for each kind of check."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from analysis.handover import passed_rows
from portal.delivery.models import as_check

CHECK_TITLES = {
    "stored-intact": "Stored unchanged",
    "not-empty": "Files",
    "readable": "Readable",
    "rate": "Sample rate",
    "depth": "Bit depth",
    "agreed-rate": "Agreed sample rate",
    "agreed-depth": "Agreed bit depth",
    "length": "Length",
    "whole": "Complete file",
    "time-reference": "Time reference",
    "safe-name": "File name",
    "distinct-name": "Name clash",
    "covers-map": "Length of the song",
    "sounding": "Silence",
    "clipped": "Clipping",
    "distinct-sound": "Duplicate recording",
    "polarity": "Polarity",
    "arrival": "Track against track",
    "sides": "Left and right",
    "microphone": "Microphone under its name",
    "click-bleed": "Click in the microphones",
    "bits": "Bits in use",
    "lossy-origin": "Lossy origin",
    "channels": "Stereo channels",
    "dc": "Offset",
    "dropouts": "Dropouts",
    "bad-values": "Invalid values",
    "gaps": "Holes",
    "repeats": "Repeated passage",
    "hum": "Hum",
    "noise": "Noise",
    "edits": "Edits",
    "tail": "Last decay",
    "lined-up": "Line-up with the rough mix",
    "drift": "Clock",
    "break": "Cut or insertion",
    "speed": "Speed",
    "same-take": "Same take",
    "tempo": "Tempo of the map",
    "whole-bars": "Whole beats and bars",
    "on-the-map": "On the tempo map",
    "fits-originals": "Rhythm of the client’s files",
}


@dataclass(frozen=True)
class PassedLine:
    title: str
    words: str
    figure: str


def title_of(code: str) -> str:
    return CHECK_TITLES.get(code, code)


def passed_lines(checks: Sequence[dict[str, Any]], names: Sequence[str]) -> list[PassedLine]:
    """`names`: the files of the set."""
    rows = passed_rows([as_check(check) for check in checks], names)
    return [PassedLine(title_of(row.code), row.words, row.figure) for row in rows]
