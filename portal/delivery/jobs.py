"""Checks a set: every byte is still the one that came, and the tracks are what a client's session needs."""

from __future__ import annotations

import hashlib
import logging
import zlib
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass
from datetime import timedelta
from pathlib import Path
from typing import Any

from django.core.files.storage import default_storage
from django.db import transaction
from django.utils import timezone

from analysis.core import FileReport
from analysis.handover import SheetTrack
from analysis.media import file_pieces
from analysis.sandbox import sheet_tracks_in_child, verify_set_in_child
from portal.bookings.models import Song
from portal.delivery.models import Delivery, DeliveryFile
from portal.delivery.names import channels_of
from portal.delivery.song_facts import note_sets
from portal.delivery.zero import agreed_of, mix_begins_s
from portal.file_serving import local_copy
from portal.intake.models import SourceFile
from portal.job_folders import job_folder
from portal.takes.models import RoughMix
from portal.takes.page import map_from

# A set that takes longer is checked twice at once: no harm.
LEFT_ALONE_FOR = timedelta(minutes=10)

MOST_ORIGINALS = 4
SHEET_FACTS = ("sample_rate_hz", "bit_depth", "channels", "frames")

CheckedFor = tuple[str, str, dict[str, str]]

logger = logging.getLogger(__name__)


@dataclass(frozen=True)
class Reading:
    """What one read of a whole file gave."""

    file: DeliveryFile
    sha256: str
    crc32: int
    facts: dict[str, Any]
    track: dict[str, Any]


def check(delivery_id: int) -> None:
    delivery = Delivery.objects.select_related("song__booking").get(pk=delivery_id)
    if delivery.state != Delivery.State.CHECKING:
        return
    files, asked = list(delivery.files.current()), checked_for(delivery)
    song = delivery.song
    # Map, mix and originals are held against each other from one beginning: the mix's, where there is one.
    approved, begins_s = song.maps.first(), mix_begins_s(song)
    with lend_set(files) as paths, lend_accepted_mix(song) as rough_mix, lend_originals(song) as originals:
        report = verify_set_in_child(
            paths,
            map=map_from(approved.map, begins_s) if approved else None,
            against=rough_mix,
            originals=originals if not begins_s else (),
            perspective=delivery.stated_perspective,
            agreed=agreed_of(delivery),
            labels=channels_of(files),
        )
        tracks = sheet_tracks_in_child(paths)
        readings = [
            _read(file, path, report.headers.get(file.name, {}), tracks.get(file.name))
            for file, path in zip(files, paths, strict=True)
        ]
    checks = [_intact(reading) for reading in readings] + [item.to_json() for item in report.checks]
    store(delivery_id, asked, readings, checks)
    logger.info("delivery %s: checked", delivery_id)


def checked_for(delivery: Delivery) -> CheckedFor:
    """What a set is checked for, beside its bytes: whose left is left, where files begin, which channels they are."""
    return delivery.perspective, delivery.begins, channels_of(delivery.files.current())


def left_alone() -> list[int]:
    before = timezone.now() - LEFT_ALONE_FOR
    waiting = Delivery.objects.filter(state=Delivery.State.CHECKING, check_asked_at__lt=before)
    return list(waiting.values_list("pk", flat=True))


@contextmanager
def lend_set(files: list[DeliveryFile]) -> Iterator[list[Path]]:
    """The files under their own names, as a client will have them, in a folder that is gone afterwards."""
    with job_folder() as folder, ExitStack() as lent:
        yield [_link(Path(folder, file.name), lent.enter_context(local_copy(file.key))) for file in files]


def _link(name: Path, path: Path) -> Path:
    name.symlink_to(path.resolve())
    return name


@contextmanager
def lend_accepted_mix(song: Song) -> Iterator[Path | None]:
    """The rough mix that the client accepted, to lay the tracks against; None where there is none."""
    accepted = song.rough_mixes.filter(state=RoughMix.State.ACCEPTED).first()
    if accepted is None:
        yield None
        return
    with job_folder() as folder, local_copy(accepted.key) as path:
        yield _link(Path(folder, f"rough mix {accepted.number}"), path)


@contextmanager
def lend_originals(song: Song) -> Iterator[list[Path]]:
    """The client's files whose rhythm says most about where drums belong: those with drums, then the loudest.

    Some may be gone from the store by now: what is left has to do.
    """
    surveyed = song.sources.current().filter(status=SourceFile.Status.SURVEYED)
    reports = [(source, FileReport.from_json(source.report)) for source in surveyed if source.report]
    heard = [(source, report) for source, report in reports if report.loudness_lufs is not None and not report.is_click]
    heard.sort(key=lambda pair: (not pair[1].drums.present, -(pair[1].loudness_lufs or 0.0)))
    kept = [source for source, _ in heard if default_storage.exists(source.key)]
    with ExitStack() as lent:
        yield [lent.enter_context(local_copy(source.key)) for source in kept[:MOST_ORIGINALS]]


def _read(file: DeliveryFile, path: Path, header: dict[str, Any], track: SheetTrack | None) -> Reading:
    """Hash the bytes. The sheet says what the header says; nothing for a file that is no sound."""
    sha256, crc32 = hashlib.sha256(), 0
    for piece in file_pieces(path):
        sha256.update(piece)
        crc32 = zlib.crc32(piece, crc32)
    facts = {fact: header[fact] for fact in SHEET_FACTS if fact in header}
    return Reading(file, sha256.hexdigest(), crc32, facts, track.to_json() if track else {})


def _intact(reading: Reading) -> dict[str, Any]:
    is_intact = reading.sha256 == reading.file.sha256
    says = "is stored unchanged" if is_intact else "is not stored unchanged: remove it and upload it again"
    return {
        "code": "stored-intact",
        "file": reading.file.name,
        "passed": is_intact,
        "value": reading.sha256,
        "limit": reading.file.sha256,
        "message": f"“{reading.file.name}” {says}.",
    }


@transaction.atomic
def store(delivery_id: int, asked: CheckedFor, readings: list[Reading], checks: list[dict[str, Any]]) -> None:
    """Keep the checks of the set that was read, if it is the same set still, and the same is asked of it."""
    song = Song.objects.select_for_update(of=("self",)).get(deliveries=delivery_id)  # before its set, as everywhere
    delivery = Delivery.objects.select_for_update().get(pk=delivery_id)
    read = {(reading.file.pk, reading.file.sha256) for reading in readings}
    is_as_read = read == set(delivery.files.current().values_list("pk", "sha256"))
    if delivery.state != Delivery.State.CHECKING or not is_as_read or checked_for(delivery) != asked:
        return
    for reading in readings:
        reading.file.crc32, reading.file.facts, reading.file.track = reading.crc32, reading.facts, reading.track
    DeliveryFile.objects.bulk_update([reading.file for reading in readings], ["crc32", "facts", "track"])
    delivery.store_checks(checks, passed=all(check["passed"] for check in checks))
    note_sets(song)
