"""What is left out of files that are sent together. The browser's tests go by the same table."""

from __future__ import annotations

import pytest

from portal.intake.files.leftovers import MOST_BESIDE_BYTES, leftovers_among

# Path, size in bytes, whether it is left out: all sent together.
SENT = [
    ("kick.wav", 4_000_000, False),
    ("Stems/bass.wav", 4_000_000, False),
    ("Stems/Gitarre für Strophe.wav", 4_000_000, False),
    ("Stems/보컬.wav", 4_000_000, False),
    ("Stems/a.b.flac", 4_000_000, False),
    ("peaks", 20, False),
    # Of the operating system.
    ("__MACOSX/Stems/._kick.wav", 100, True),
    ("$RECYCLE.BIN/kick.wav", 4_000_000, True),
    ("Stems/._bass.wav", 100, True),
    (".DS_Store", 6_148, True),
    ("Stems/.DS_Store", 6_148, True),
    ("Thumbs.db", 9_000, True),
    ("a/desktop.ini", 200, True),
    ("Icon\r", 0, True),
    ("icon", 5, False),
    # Beside a file that was sent, by its whole name and one more ending.
    ("kick.wav.xyz", 20_000, True),
    ("kick.wav.XY", MOST_BESIDE_BYTES, True),
    ("Stems/BASS.WAV.drawn", 20_000, True),
    ("Stems/Gitarre fu\u0308r Strophe.wav.xyz", 20_000, True),
    ("Stems/a.b.flac.2", 20_000, True),
    ("kick.wav.large", MOST_BESIDE_BYTES + 1, False),
    # Of a kind that a song is sent with, in another folder, or beside nothing.
    ("kick.wav.mid", 500, False),
    ("kick.wav.txt", 500, False),
    ("Stems/bass.wav.wav", 20_000, False),
    ("Stems/kick.wav.xyz", 20_000, False),
    ("kick.xyz", 20_000, False),
    ("snare.wav.xyz", 20_000, False),
    ("notes.txt", 500, False),
    ("song.mid", 500, False),
]


def test_what_is_left_out() -> None:
    told = leftovers_among([(path, size_bytes) for path, size_bytes, _ in SENT])
    assert dict(zip([path for path, *_ in SENT], told, strict=True)) == {path: is_out for path, _, is_out in SENT}


@pytest.mark.parametrize("path", ["kick.wav.xyz", "notes.xyz", ".xyz.wav.b"])
def test_alone_nothing_lies_beside_another(path: str) -> None:
    assert leftovers_among([(path, 100)]) == [path.startswith(".")]
