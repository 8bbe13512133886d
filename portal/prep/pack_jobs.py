"""Making session packs file by file, and clearing them away. Originals are read here and never touched."""

from __future__ import annotations

import errno
import logging
import zlib
from contextlib import ExitStack
from datetime import timedelta
from pathlib import Path
from time import monotonic
from typing import Any

from django.core.files.storage import default_storage
from django.db import models, transaction
from django.db.models import Exists, OuterRef, Q
from django.utils import timezone

from analysis.core import MapError, UnusableFileError
from analysis.media import file_pieces
from analysis.sandbox import conform_in_child, plan_session_in_child
from analysis.session import AUDIO_FOLDER, ConformedFile, Timeline, write_papers
from portal.charts.drawn import content_of
from portal.file_serving import local_copy
from portal.intake.models import SourceFile
from portal.job_folders import job_folder
from portal.making import MOST_TRIES, left_alone, make_once
from portal.prep.errors import PrepError
from portal.prep.models import HousePrep, SessionPack
from portal.prep.pack_inputs import PackInputs, channels_of, inputs_of, length_s
from portal.prep.room import check_room, is_full
from portal.uploads import originals

# An older pack may still be on its way to somebody.
REPLACED_STAYS_FOR = timedelta(days=1)
CHANGED = "The tempo map, the files or the choices changed while this pack was being made. Make it anew."
# Between files; whether all is as it was is asked at the end in any case.
ASK_EVERY_S = 5.0
FULL = "The server’s disk became full while this pack was being made. Make room there, then make it anew."
STOPPED = (
    f"Making this pack was stopped {MOST_TRIES} times at the same file. Make it anew, or look at the server’s log."
)

logger = logging.getLogger(__name__)


def make_pack(pack_id: int) -> None:
    """Who comes after a killed worker goes on with the next file."""
    make_once(SessionPack.objects.select_related("song__booking", "approved_map"), pack_id, _make, stopped=STOPPED)


def _make(pack: SessionPack) -> None:
    try:
        inputs = _unchanged(pack)
        timeline = _planned(pack, inputs)
        check_room(_bytes_to_come(pack, inputs, timeline), largest_bytes=_largest_bytes(inputs, timeline))
        asked_s = monotonic()
        for source, name in zip(inputs.sources, inputs.names, strict=True):
            if monotonic() - asked_s > ASK_EVERY_S:
                _unchanged(pack)
                asked_s = monotonic()
            if not _is_done(pack, source, name):
                _conform(pack, source, timeline, name)
        _finish(pack, inputs, timeline)
    except (PrepError, MapError) as error:
        logger.info("session pack %s was not made: %s", pack.pk, error)
        pack.fail(str(error))
    except OSError as error:
        if error.errno not in (errno.ENOSPC, errno.EDQUOT):
            raise
        logger.warning("session pack %s was not made: %s", pack.pk, error)
        pack.fail(FULL)


def _unchanged(pack: SessionPack) -> PackInputs:
    inputs = inputs_of(pack.song)
    if inputs.fingerprint != pack.fingerprint:
        raise PrepError(CHANGED)
    return inputs


def _planned(pack: SessionPack, inputs: PackInputs) -> Timeline:
    if pack.timeline is None:
        with ExitStack() as lent:
            timeline = plan_session_in_child(
                [lent.enter_context(local_copy(source.key)) for source in inputs.sources],
                map=inputs.approved.map,
                settings=inputs.settings,
                lengths_s=[length_s(source) for source in inputs.sources],
            )
        pack.lay_out(timeline.to_json())
    return Timeline.from_json(pack.timeline or {})


def _bytes_to_come(pack: SessionPack, inputs: PackInputs, timeline: Timeline) -> int:
    return max(0, inputs.size_bytes(timeline.frames) - pack.size_bytes)


def _largest_bytes(inputs: PackInputs, timeline: Timeline) -> int:
    return _bytes_of(timeline, max(channels_of(source) for source in inputs.sources))


def _bytes_of(timeline: Timeline, channels: int) -> int:
    return timeline.frames * channels * timeline.settings.bit_depth // 8


def _is_done(pack: SessionPack, source: SourceFile, name: str) -> bool:
    member = pack.members.get(f"{AUDIO_FOLDER}/{name}")
    if member is not None:
        return default_storage.exists(member["key"])
    return source.sha256 in {sha256 for _, _, sha256 in pack.left_out}


def _conform(pack: SessionPack, source: SourceFile, timeline: Timeline, name: str) -> None:
    with job_folder() as folder, local_copy(source.key) as original:
        try:
            done = _conformed(source, original, Path(folder, name), timeline)
        except UnusableFileError as error:
            pack.leave_out(source.name, f"it {error}", sha256=source.sha256)
            return
        member = _store(pack, Path(folder, name), sha256=done.sha256, crc32=done.crc32)
    conformed = done.to_json() | {"source_sha256": source.sha256}
    pack.add(f"{AUDIO_FOLDER}/{name}", member | {"conformed": conformed})


def _conformed(source: SourceFile, original: Path, to: Path, timeline: Timeline) -> ConformedFile:
    """A file that was measured can be read. Where it cannot, the disk is full, or the child was killed: once more."""
    channels = channels_of(source)
    try:
        return conform_in_child(original, to, timeline, name=source.name, channels=channels)
    except UnusableFileError as error:
        if is_full(largest_bytes=_bytes_of(timeline, channels)):
            raise PrepError(FULL) from error
        return conform_in_child(original, to, timeline, name=source.name, channels=channels)


def _store(pack: SessionPack, path: Path, *, sha256: str, crc32: int) -> dict[str, Any]:
    """Under the pack's own name, so that nothing else has to be asked before it is cleared away."""
    key, size_bytes = f"{_place(pack)}/{sha256}", path.stat().st_size
    originals.store(path, key=key, sha256=sha256)
    return {"key": key, "size_bytes": size_bytes, "crc32": crc32, "sha256": sha256}


def _place(pack: SessionPack) -> str:
    return f"packs/{pack.pk}"


def _finish(pack: SessionPack, inputs: PackInputs, timeline: Timeline) -> None:
    audio = [pack.members.get(f"{AUDIO_FOLDER}/{name}") for name in inputs.names]
    with job_folder() as folder:
        write_papers(
            Path(folder),
            timeline,
            [ConformedFile.from_json(member["conformed"]) for member in audio if member],
            title=pack.song.title,
            click_name=inputs.click_name,
            left_out=[*inputs.left_out, *((name, why) for name, why, _ in pack.left_out)],
            sections=inputs.sections,
            word_on_sections=inputs.word_on_sections,
            charts={name: content_of(key) for name, key in inputs.chart},
        )
        papers = {}
        for path in sorted(path for path in Path(folder).rglob("*") if path.is_file()):
            sha256, crc32 = originals.hash_part(path), _crc32_of(path)
            papers[path.relative_to(folder).as_posix()] = _store(pack, path, sha256=sha256, crc32=crc32)
    with transaction.atomic():
        _unchanged(pack)
        pack.finish(papers)
    logger.info("session pack %s made: %s files", pack.pk, len(pack.members))


def _crc32_of(path: Path) -> int:
    crc32 = 0
    for piece in file_pieces(path):
        crc32 = zlib.crc32(piece, crc32)
    return crc32


def packs_left_alone() -> list[int]:
    return left_alone(SessionPack.objects.all())


def old_packs() -> models.QuerySet[SessionPack]:
    """To be cleared away: after the house’s time, a day after a newer one, failed, or made of removed originals."""
    now, days = timezone.now(), timedelta(days=HousePrep.get().keep_packs_days)
    made = Q(state=SessionPack.State.MADE)
    newer = SessionPack.objects.filter(
        made, song=OuterRef("song"), pk__gt=OuterRef("pk"), made_at__lt=now - REPLACED_STAYS_FOR
    )
    gone = SourceFile.objects.filter(song=OuterRef("song")).exclude(gone_at=None)
    due = Q(state=SessionPack.State.FAILED) | made & (Q(made_at__lt=now - days) | Exists(newer) | Exists(gone))
    return SessionPack.objects.filter(due, cleared_at=None)


def clear(pack: SessionPack) -> None:
    """First the row, then the files, those of a killed worker included: whatever is offered is whole."""
    pack.clear()
    place = _place(pack)
    try:
        names = default_storage.listdir(place)[1]
    except FileNotFoundError:
        return
    for name in names:
        default_storage.delete(f"{place}/{name}")
    default_storage.delete(place)
    logger.info("session pack %s: %s files cleared away", pack.pk, len(names))
