"""Files that nobody means to send: what operating systems leave in folders, and what programs leave beside a file.

They are left out, and that is said. `portal/static/js/upload/leftovers.js` has the same rules for what is dragged into
the page; a test holds the two together.
"""

from __future__ import annotations

from collections.abc import Sequence

from portal.intake.files.file_versions import folded

FOLDERS = frozenset({"__macosx", ".spotlight-v100", ".trashes", ".fseventsd", ".temporaryitems", "$recycle.bin"})
NAMES = frozenset({"thumbs.db", "ehthumbs.db", "desktop.ini", "icon\r"})
# What a song is sent with: sound, MIDI, archives, texts, pictures. "bass.wav.mid" beside "bass.wav" is meant.
KINDS_MEANT = frozenset(
    {"aac", "aif", "aifc", "aiff", "caf", "flac", "m4a", "mp3", "mp4", "oga", "ogg", "opus", "w64", "wav", "wave"}
    | {"mid", "midi", "zip"}
    | {"csv", "doc", "docx", "md", "odt", "pdf", "rtf", "txt", "xml", "gif", "jpeg", "jpg", "png", "svg", "webp"}
)
# A drawn waveform of ten minutes in stereo fits: lowest and highest as 16 bits for each 256 frames at 48 kHz are
# 900 KiB. A take does not: 1 MiB is less than four seconds of 24-bit stereo.
MOST_BESIDE_BYTES = 1024 * 1024


def is_of_a_system(path: str) -> bool:
    """Whether an operating system left this file (`/` between the parts of its path)."""
    *folders, name = path.casefold().split("/")
    return any(folder in FOLDERS for folder in folders) or name.startswith(".") or name in NAMES


def is_beside(path: str, size_bytes: int, paths: frozenset[str]) -> bool:
    """Whether a program left this small file beside another: its name is the other's whole name and one more ending,
    of no kind that is meant. `paths`: all that were sent together, folded."""
    whole, _, ending = folded(path).rpartition(".")
    return size_bytes <= MOST_BESIDE_BYTES and ending not in KINDS_MEANT and whole in paths


def leftovers_among(files: Sequence[tuple[str, int]]) -> list[bool]:
    """Of files sent together, (path, size in bytes) each: which are left out."""
    paths = frozenset(folded(path) for path, _ in files)
    return [is_of_a_system(path) or is_beside(path, size_bytes, paths) for path, size_bytes in files]
