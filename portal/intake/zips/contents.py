"""What a zip holds: which entries are taken, under which names, and a sentence for everything else."""

from __future__ import annotations

import hashlib
import os
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import count, pairwise
from pathlib import Path
from typing import BinaryIO

from django.conf import settings

from portal.intake.errors import DamagedEntryError, ZipError
from portal.intake.files import store_cleanup
from portal.intake.files.file_versions import Arrival, folded
from portal.intake.files.leftovers import is_beside, is_of_a_system
from portal.intake.models import SentZip
from portal.intake.zips.names import place_of
from portal.intake.zips.reading import DEFLATED, LOCAL, STORED, Entry, list_entries, read_entry, scan_entries
from portal.sizes import size_in_words
from portal.uploads import file_names, originals, parts

NAMES_SHOWN = 5
AGAIN = "Please send it again."
# How often the disk is looked at while it fills: what headers say about sizes may be a lie.
LOOK_EVERY_BYTES = 256 * 1024 * 1024

InZip = tuple[str, ...]
CheckRoom = Callable[[int, int], None]


@dataclass(frozen=True)
class Kept:
    """An entry whose bytes are in the store."""

    number: int
    name: str
    folders: tuple[str, ...]
    sha256: str
    key: str
    size_bytes: int

    @property
    def path(self) -> str:
        return "/".join((*self.folders, self.name))

    def arrival(self, sent: SentZip) -> Arrival:
        return Arrival(
            name=self.name,
            folder="/".join(self.folders),
            sent_with=f"zip:{sent.pk}",
            sha256=self.sha256,
            key=self.key,
            size_bytes=self.size_bytes,
            zip=sent,
            zip_entry=self.number,
        )


class Contents:
    """Fills `kept` and `notes` while it reads; `folder` is where an entry waits until its hash is known."""

    def __init__(self, sent: SentZip, folder: Path, check_room: CheckRoom) -> None:
        """`check_room` raises where so many bytes, the largest file of them so large, have no room."""
        self.sent, self.folder, self.check_room = sent, folder, check_room
        self.kept: list[Kept] = []
        self.notes: list[str] = []
        self.left_out: list[str] = []
        self.written_bytes = self.most_bytes = self.looked_at_bytes = 0
        # Which contents lie at a place (its folders and folded name), and the number that its next namesake gets.
        self.hashes_at: dict[InZip, set[str]] = {}
        self.next_number: dict[InZip, int] = {}

    def read(self, file: BinaryIO, *, most_bytes: int) -> None:
        """`most_bytes`: what there may be of it in all."""
        self.most_bytes = min(most_bytes, settings.LARGEST_UNPACKED_BYTES)
        listed = self.listed(file)
        if listed is None:
            self.read_from_the_front(file)
        else:
            check_listed(listed, self.most_bytes)
            sizes = [entry.size or 0 for entry in listed]
            self.check_room(sum(sizes), max(sizes, default=0))
            for number, entry in enumerate(listed):
                self.take(file, number, entry)
        self.leave_out_what_lies_beside()
        self.note_left_out()
        self.kept = without_common_folder(self.kept)

    def listed(self, file: BinaryIO) -> list[Entry] | None:
        try:
            return list_entries(file, most=settings.MOST_FILES_IN_ZIP)
        except DamagedEntryError:
            return None

    def read_from_the_front(self, file: BinaryIO) -> None:
        """The list of contents, at a zip's end, is missing or damaged: what can be read is kept, and the rest said."""
        for number, entry in enumerate(self.scanned(file)):
            if number >= settings.MOST_FILES_IN_ZIP:
                break
            self.take(file, number, entry)
        self.notes.insert(
            0,
            f"The end of this zip is missing: {files_words(len(self.kept))} could be read. "
            "If there were more, please send them again.",
        )

    def scanned(self, file: BinaryIO) -> Iterator[Entry]:
        """Stops where nothing says how far it is to the next entry, or where that is past the end."""
        length_of_zip = file.seek(0, 2)
        for entry in scan_entries(file):
            start, kept_before = file.tell(), len(self.kept)
            yield entry
            if len(self.kept) > kept_before:
                continue
            if entry.size is None or start + entry.packed_size > length_of_zip:
                return
            file.seek(start + entry.packed_size)

    def take(self, file: BinaryIO, number: int, entry: Entry) -> None:
        if entry.is_folder:
            return
        path = entry.path.replace("\\", "/")
        if is_of_a_system(path):
            self.left_out.append(file_names.clean(path))
            return
        place = place_of(entry.path)
        reason = reason_against(entry, leads_out=place.leads_out)
        if reason:
            self.notes.append(f"“{place.name}” {reason}")
            return
        try:
            kept = self.store(file, entry, Kept(number, place.name, place.folders, "", "", 0))
        except DamagedEntryError as error:
            self.notes.append(f"“{place.name}” {error}. {AGAIN}")
            return
        if entry.is_guess:
            self.notes.append(f"“{place.name}”: the zip does not say how this name is encoded.")
        self.add(kept)

    def add(self, kept: Kept) -> None:
        """Two entries of one name are both kept, unless they are the same."""
        hashes = self.hashes_at.setdefault(place_in_zip(kept), set())
        if kept.sha256 in hashes:
            self.notes.append(f"“{kept.name}” is in the zip twice with the same content; one copy was used.")
            return
        is_taken = bool(hashes)
        hashes.add(kept.sha256)
        if is_taken:
            renamed = self.with_free_name(kept)
            self.hashes_at[place_in_zip(renamed)] = {kept.sha256}
            self.notes.append(f"“{kept.name}” is in the zip twice; the second was renamed to “{renamed.name}”.")
            kept = renamed
        self.kept.append(kept)

    def with_free_name(self, kept: Kept) -> Kept:
        """Counted on from the number that the last namesake got: a thousand of them are a thousand steps."""
        place = place_in_zip(kept)
        for number in count(self.next_number.get(place, 2)):
            renamed = replace(kept, name=file_names.numbered(kept.name, number))
            if place_in_zip(renamed) not in self.hashes_at:
                self.next_number[place] = number + 1
                return renamed
        raise AssertionError("numbers do not end")

    def store(self, file: BinaryIO, entry: Entry, kept: Kept) -> Kept:
        part = self.folder / str(kept.number)
        seen, length = hashlib.sha256(), 0
        try:
            with part.open("wb") as out:
                for piece in read_entry(file, entry):
                    self.count(len(piece))
                    out.write(piece)
                    seen.update(piece)
                    length += len(piece)
                out.flush()
                os.fsync(out.fileno())
            sha256 = seen.hexdigest()
            with parts.locked(sha256):
                originals.store(part, key=originals.key_for(sha256), sha256=sha256)
                parts.lock_path(sha256).unlink(missing_ok=True)
        finally:
            part.unlink(missing_ok=True)
        return replace(kept, sha256=sha256, key=originals.key_for(sha256), size_bytes=length)

    def count(self, length: int) -> None:
        """What headers say about sizes may be a lie; what was written is not."""
        self.written_bytes += length
        if self.written_bytes > self.most_bytes:
            raise ZipError(too_large(self.most_bytes))
        if self.written_bytes - self.looked_at_bytes > LOOK_EVERY_BYTES:
            self.check_room(0, 0)
            self.looked_at_bytes = self.written_bytes

    def leave_out_what_lies_beside(self) -> None:
        """When all is read: only then is it known what was sent together, and how large it really is."""
        paths = frozenset(folded(one.path) for one in self.kept)
        beside = {one.number: one for one in self.kept if is_beside(one.path, one.size_bytes, paths)}
        self.kept = [one for one in self.kept if one.number not in beside]
        self.left_out += [one.name for one in beside.values()]
        keys = {one.key for one in self.kept}
        for one in beside.values():
            if one.key not in keys:
                store_cleanup.clear(key=one.key, sha256=one.sha256)

    def note_left_out(self) -> None:
        if not self.left_out:
            return
        names = ", ".join(dict.fromkeys(self.left_out[:NAMES_SHOWN])) + (
            ", …" if len(self.left_out) > NAMES_SHOWN else ""
        )
        self.notes.append(f"Left out: {files_words(len(self.left_out))} with system or program data ({names}).")


def reason_against(entry: Entry, *, leads_out: bool) -> str:
    """Why an entry is not taken, as the end of a sentence that begins with its name; empty when it is."""
    if entry.is_encrypted:
        return "is locked with a password. Please send it without one."
    if entry.is_link:
        return "is only a link to a file elsewhere. Please send the file itself."
    if entry.is_special:
        return "is not a file."
    if leads_out:
        return "has a path that leads out of the zip, so it was left out. Please send it on its own."
    if entry.path.lower().endswith(".zip"):
        return "is a zip inside the zip. Please send it on its own."
    if entry.method not in (STORED, DEFLATED):
        return (
            "uses a compression method that we do not support. Please send it on its own, or make the "
            "zip with your system’s own tool."
        )
    return ""


def check_listed(entries: Sequence[Entry], most_bytes: int) -> None:
    """Before a byte is unpacked: how much it would be, and whether entries share the same bytes to be so much."""
    if sum(entry.size or 0 for entry in entries) > most_bytes:
        raise ZipError(too_large(most_bytes))
    in_order = sorted(entries, key=lambda entry: entry.offset)
    for entry, following in pairwise(in_order):
        if entry.offset + LOCAL.size + entry.packed_size > following.offset:
            raise ZipError("Its files overlap, so it was not unpacked. Please make a new zip.")


def files_words(number: int) -> str:
    return "1 file" if number == 1 else f"{number} files"


def too_large(most_bytes: int) -> str:
    most = size_in_words(most_bytes)
    return f"It unpacks to more than the {most} allowed. Please send only what the song needs."


def place_in_zip(kept: Kept) -> InZip:
    return (*kept.folders, folded(kept.name))


def without_common_folder(kept: Iterable[Kept]) -> list[Kept]:
    """The folder that everything lies in says nothing: it is called after the zip, or the day."""
    kept = list(kept)
    while kept and all(one.folders for one in kept) and len({one.folders[0] for one in kept}) == 1:
        kept = [replace(one, folders=one.folders[1:]) for one in kept]
    return kept
