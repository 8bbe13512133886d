"""Making copies to play from, and clearing away those whose original is gone."""

from __future__ import annotations

import logging
from pathlib import Path

import soundfile
from django.core.files.storage import default_storage
from django.utils import timezone

from analysis.sandbox import write_proxy_in_child
from portal.file_serving import local_copy
from portal.intake.models import SourceFile
from portal.job_folders import job_folder
from portal.lanes.models import PlayCopy
from portal.making import LEFT_AFTER, make_once
from portal.uploads import originals

STOPPED = "could not be read to the end"

logger = logging.getLogger(__name__)


def make_copy(source_id: int) -> None:
    source = SourceFile.objects.filter(pk=source_id, status=SourceFile.Status.SURVEYED, gone_at=None).first()
    if source is not None:
        copy, _ = PlayCopy.objects.get_or_create(source=source)
        make_once(PlayCopy.objects.select_related("source"), copy.pk, _make, stopped=STOPPED)


def _make(copy: PlayCopy) -> None:
    with job_folder() as folder, local_copy(copy.source.key) as original:
        to = Path(folder, "copy.flac")
        trouble = write_proxy_in_child(original, to)
        if trouble:
            copy.fail(trouble)
            return
        facts = soundfile.info(to)
        sha256 = originals.hash_part(to)
        key = f"copies/{sha256[:2]}/{sha256}.flac"
        originals.store(to, key=key, sha256=sha256)
    copy.finish(key=key, sample_rate_hz=facts.samplerate, channels=facts.channels, frames=facts.frames)
    logger.info("source file %s: copy to play from made", copy.source_id)


def left_alone() -> list[int]:
    """Source files that should have a copy, and have none after a while."""
    before = timezone.now() - LEFT_AFTER
    surveyed = SourceFile.objects.current().filter(status=SourceFile.Status.SURVEYED, gone_at=None)
    never = surveyed.filter(play_copy=None, received_at__lt=before)
    lost = surveyed.filter(play_copy__state=PlayCopy.State.MAKING, play_copy__began_at__lt=before)
    return list((never | lost).values_list("pk", flat=True))


def clear_gone() -> None:
    """The copy goes with its original; the same content under another file stays."""
    for copy in PlayCopy.objects.exclude(source__gone_at=None):
        key, _ = copy.key, copy.delete()
        if key and not PlayCopy.objects.filter(key=key).exists():
            default_storage.delete(key)
