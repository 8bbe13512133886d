"""What a worker does for a chart: draft it from the song's files, and engrave a version of it."""

from __future__ import annotations

import hashlib
import logging
import tempfile
from collections.abc import Callable
from contextlib import ExitStack
from datetime import timedelta
from pathlib import Path

from django.db import models, transaction
from django.utils import timezone

from analysis.chart import read_chart
from analysis.core import ChartError, SongNotMeasuredError
from analysis.sandbox import draft_song_in_child
from portal.charts.inputs import inputs_of
from portal.charts.models import ChartDraft, ChartFile, ChartVersion
from portal.charts.versions import take_draft
from portal.file_serving import local_copy
from portal.heartbeat import alive
from portal.titles import plain_title
from portal.uploads import originals, parts
from portal.uploads.errors import UploadBusyError

Kind = ChartFile.Kind
# What is engraved of each version: what it is, the form, and the page it is set on.
FORMS = (
    (Kind.SCREEN, "svg", "screen"),
    (Kind.PREVIEW, "svg", "a4"),
    *((kind, "pdf", str(kind)) for kind in (Kind.A4, Kind.LETTER, Kind.A4_LARGE, Kind.LETTER_LARGE)),
    (Kind.MUSICXML, "musicxml", "a4"),
    (Kind.MEI, "mei", "a4"),
)
LEFT_AFTER = timedelta(minutes=2)
MOST_TRIES = 3
STOPPED = f"This was stopped {MOST_TRIES} times. Ask again, or look at the server’s log."
CHANGED = "The tempo map or the files changed while this was being measured. Ask for a new draft."
NO_BARS = "No bars were found in these files: there is nothing to draft a chart from."

logger = logging.getLogger(__name__)


def make_draft(draft_id: int) -> None:
    _once("chart-draft", draft_id, lambda: _draft(draft_id))


def engrave_version(version_id: int) -> None:
    _once("chart-version", version_id, lambda: _engrave(version_id))


def _once(kind: str, row_id: int, work: Callable[[], None]) -> None:
    """One worker at a time."""
    try:
        with parts.locked(f"{kind}-{row_id}"):
            work()
    except UploadBusyError:
        logger.info("%s %s is being made already", kind, row_id)


def _draft(draft_id: int) -> None:
    draft = ChartDraft.objects.select_related("song__booking", "approved_map").filter(pk=draft_id).first()
    if draft is None or draft.state != ChartDraft.State.MAKING:
        return
    if draft.tries >= MOST_TRIES:
        draft.fail(STOPPED)
        return
    draft.begin()
    with alive(draft.go_on):
        _measure(draft)


def _measure(draft: ChartDraft) -> None:
    inputs = inputs_of(draft.song)
    if inputs is None or inputs.fingerprint != draft.fingerprint:
        draft.fail(CHANGED)
        return
    try:
        with ExitStack() as lent:
            files = [
                (source.numbers, lent.enter_context(local_copy(source.features_key)))
                for source in inputs.sources
                if source.numbers
            ]
            measured = draft_song_in_child(files, draft.approved_map.map).to_json()
    except SongNotMeasuredError as error:
        draft.fail(f"The song could not be measured for its chart: {error}.")
        return
    with transaction.atomic():
        draft.finish(measured)
        if take_draft(draft) is None:
            draft.fail(NO_BARS)
            return
    logger.info("song %s: chart drafted, %s bars", draft.song_id, measured["bars"])


def _engrave(version_id: int) -> None:
    version = ChartVersion.objects.select_related("song__booking").filter(pk=version_id).first()
    if version is None or version.state != ChartVersion.State.ENGRAVING:
        return
    if version.tries >= MOST_TRIES:
        version.fail(STOPPED)
        return
    from analysis.engraving import Look, engrave  # a second of CPU, which no worker need spend as it starts

    version.begin()
    try:
        with alive(version.go_on):
            chart, note = read_chart(version.chart), f"version {version.number}"
            for kind, form, page in FORMS:
                for number, content in enumerate(engrave(chart, form, Look(page, note=note)), start=1):
                    _store(version, kind=kind, page=number, suffix=form, content=content)
    except ChartError as error:
        version.fail(f"It could not be engraved: {error}.")
        return
    version.finish()
    logger.info("song %s: chart version %s engraved", version.song_id, version.number)


def _store(version: ChartVersion, *, kind: ChartFile.Kind, page: int, suffix: str, content: bytes) -> None:
    sha256 = hashlib.sha256(content).hexdigest()
    key = f"charts/{version.pk}/{sha256}"
    with tempfile.TemporaryDirectory(prefix="kitpost-") as folder:
        path = Path(folder, "engraved")
        path.write_bytes(content)
        originals.store(path, key=key, sha256=sha256)
    number = f"-{page}" if page > 1 else ""
    name = f"{plain_title(version.song.title)}_chart-v{version.number}_{kind}{number}.{suffix}"
    fields = {"name": name, "key": key, "size_bytes": len(content)}
    ChartFile.objects.update_or_create(version=version, kind=kind, page=page, defaults=fields)


def drafts_left_alone() -> list[int]:
    """Drafts that nobody gives a sign of making."""
    return _left(ChartDraft.objects.filter(state=ChartDraft.State.MAKING))


def versions_left_alone() -> list[int]:
    return _left(ChartVersion.objects.filter(state=ChartVersion.State.ENGRAVING))


def _left(rows: models.QuerySet[ChartDraft] | models.QuerySet[ChartVersion]) -> list[int]:
    return list(rows.filter(began_at__lt=timezone.now() - LEFT_AFTER).values_list("pk", flat=True))
