"""What a song's check waits for, in words, as one reader sees it."""

from __future__ import annotations

from collections.abc import Sequence

from portal.intake.files.waiting import MEASURED, QUEUED, QUIET, SENT, UNPACKED, Awaited
from portal.people.models import User


def waiting_sentences(awaited: Sequence[Awaited], reader: User) -> list[str]:
    """A file that a browser announced is not named again as one that is under way."""
    is_announced = any(one.code == QUEUED for one in awaited)
    return [_sentence(one, reader) for one in awaited if not (one.code == SENT and is_announced)]


def _sentence(one: Awaited, reader: User) -> str:
    files = "1 file" if one.count == 1 else f"{one.count} files"
    are = "is" if one.count == 1 else "are"
    if one.queue is not None:
        whose = "your browser" if one.queue.user_id == reader.pk else f"the browser of {one.queue.name}"
        return f"Waiting for {files} that {are} still being sent from {whose}."
    return {
        SENT: f"Waiting for {files} that {are} still being sent.",
        UNPACKED: "A zip is being unpacked." if one.count == 1 else f"{one.count} zips are being unpacked.",
        MEASURED: f"{files} {are} being measured.",
        QUIET: f"Waiting {one.count} s for more files.",
    }[one.code]
