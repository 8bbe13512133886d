"""A file comes: what it says about itself, and which earlier file it is a new version of."""

from __future__ import annotations

import unicodedata
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from django.db.models import Max, Q

from portal.bookings.models import Song
from portal.bookings.services import record
from portal.folding import fold
from portal.intake.models import SentZip, SourceFile
from portal.people.models import User
from portal.queueing import queue_task_on_commit
from portal.sizes import size_in_words

FOLDER_LENGTH = 255


@dataclass(frozen=True)
class Arrival:
    """`sent_with` names what came in one go (a dropped folder, a zip): such files never replace each other.
    `replaces` is the line (the first version's key) of the file that it was sent for."""

    name: str
    sha256: str
    key: str
    size_bytes: int
    folder: str = ""
    sent_with: str = ""
    replaces: int = 0
    zip: SentZip | None = None
    zip_entry: int | None = None

    def fields(self) -> dict[str, Any]:
        return {
            "name": self.name,
            "folder": self.folder[:FOLDER_LENGTH],
            "sent_with": self.sent_with,
            "sha256": self.sha256,
            "key": self.key,
            "size_bytes": self.size_bytes,
            "zip": self.zip,
            "zip_entry": self.zip_entry,
        }


def add(song: Song, arrival: Arrival, *, by: User) -> SourceFile:
    """Under the song's row lock. A file that is here already under this name becomes its earlier version."""
    return add_to(CurrentFiles(song, [arrival.name]), arrival, by=by)


class CurrentFiles:
    """The files of these names that count. Whoever holds the song's row lock changes them alone; what was measured of
    them stays in the database."""

    def __init__(self, song: Song, names: Iterable[str]) -> None:
        self.song = song
        self._by_name: dict[str, list[SourceFile]] = {}
        for source in song.sources.current().filter(folded__in={fold(name) for name in names}).defer("report"):
            self.put(source)

    def named(self, name: str) -> list[SourceFile]:
        return self._by_name.setdefault(folded(name), [])

    def put(self, source: SourceFile) -> None:
        self.named(source.name).append(source)

    def take_away(self, source: SourceFile) -> None:
        with_name = self.named(source.name)
        with_name[:] = [one for one in with_name if one.pk != source.pk]


def add_to(current: CurrentFiles, arrival: Arrival, *, by: User) -> SourceFile:
    song = current.song
    earlier = earlier_version(current, arrival)
    source = SourceFile(song=song, sent_by=by, **arrival.fields())
    if earlier is not None:
        source.first_id = earlier.line
        newest = SourceFile.objects.versions_of(earlier).aggregate(number=Max("version"))["number"]
        source.version = newest + 1
        if earlier.removed_at is None:
            earlier.leave(SourceFile.Left.REPLACED, by=by)
            current.take_away(earlier)
    source.save()
    current.put(source)
    if earlier is not None or arrival.zip is None:  # a zip has one line for all its new files
        record(song.booking, words_of(source, earlier), actor=by, song=song)
    queue_task_on_commit("portal.intake.tasks.survey_file", source.pk)
    return source


def words_of(source: SourceFile, earlier: SourceFile | None) -> str:
    size = size_words(source.size_bytes)
    if earlier is None:
        return f"sent “{source.name}” ({size})"
    if earlier.name == source.name:
        return f"sent a new version of “{source.name}” ({size}): version {source.version}"
    return f"sent “{source.name}” ({size}) in place of “{earlier.name}”: version {source.version}"


def size_words(size_bytes: int) -> str:
    return size_in_words(size_bytes).replace("\N{NO-BREAK SPACE}", " ")


def earlier_version(current: CurrentFiles, arrival: Arrival) -> SourceFile | None:
    """The file that this one replaces: the one that its sender chose, else the one of the same name."""
    if arrival.replaces:
        line = current.song.sources.filter(Q(pk=arrival.replaces) | Q(first=arrival.replaces)).defer("report")
        return line.current().first() or line.order_by("version").last()
    namesakes = [source for source in current.named(arrival.name) if is_other_state(source, arrival)]
    in_place = [source for source in namesakes if folded(source.folder) == folded(arrival.folder[:FOLDER_LENGTH])]
    if in_place:
        return in_place[0]
    # A single file, sent later, for one that came in a folder: unmistakable as long as there is one of that name.
    return namesakes[0] if len(namesakes) == 1 and not arrival.folder else None


def is_other_state(source: SourceFile, arrival: Arrival) -> bool:
    """What came in one go never replaces each other; the very same again is a copy, not a new bounce: both stay, and
    the page says so."""
    came_together = bool(arrival.sent_with) and source.sent_with == arrival.sent_with
    return not came_together and source.sha256 != arrival.sha256


def folded(name: str) -> str:
    return unicodedata.normalize("NFC", name).casefold()
