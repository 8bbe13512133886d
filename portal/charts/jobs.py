"""What a worker does for a chart: draft it from the song's files, and engrave a version of it."""

from __future__ import annotations

import hashlib
import logging
from contextlib import ExitStack
from pathlib import Path

from django.db import transaction

from analysis.chart import read_chart
from analysis.core import ChartError, SongNotMeasuredError
from analysis.sandbox import draft_song_in_child
from portal.charts.inputs import inputs_of
from portal.charts.models import ChartDraft, ChartFile, ChartVersion
from portal.charts.versions import take_draft
from portal.file_serving import local_copy
from portal.job_folders import job_folder
from portal.making import MOST_TRIES, left_alone, make_once
from portal.titles import plain_title
from portal.uploads import originals

Kind = ChartFile.Kind
# What is engraved of each version: what it is, the form, and the page it is set on.
FORMS = (
    (Kind.SCREEN, "svg", "screen"),
    (Kind.PREVIEW, "svg", "a4"),
    *((kind, "pdf", str(kind)) for kind in (Kind.A4, Kind.LETTER, Kind.A4_LARGE, Kind.LETTER_LARGE)),
    (Kind.MUSICXML, "musicxml", "a4"),
    (Kind.MEI, "mei", "a4"),
)
STOPPED = f"This was stopped {MOST_TRIES} times. Ask again, or look at the server’s log."
CHANGED = "The tempo map or the files changed while this was being measured. Ask for a new draft."
NO_BARS = "No bars were found in these files: there is nothing to draft a chart from."

logger = logging.getLogger(__name__)


def make_draft(draft_id: int) -> None:
    make_once(ChartDraft.objects.select_related("song__booking", "approved_map"), draft_id, _draft, stopped=STOPPED)


def engrave_version(version_id: int) -> None:
    make_once(ChartVersion.objects.select_related("song__booking"), version_id, _engrave, stopped=STOPPED)


def _draft(draft: ChartDraft) -> None:
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


def _engrave(version: ChartVersion) -> None:
    from analysis.engraving import Look, engrave  # a second of CPU, which no worker need spend as it starts

    try:
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
    with job_folder() as folder:
        path = Path(folder, "engraved")
        path.write_bytes(content)
        originals.store(path, key=key, sha256=sha256)
    number = f"-{page}" if page > 1 else ""
    of_kind = "" if kind == suffix else f"_{kind}{number}"
    name = f"{plain_title(version.song.title)}_chart-v{version.number}{of_kind}.{suffix}"
    fields = {"name": name, "key": key, "size_bytes": len(content)}
    ChartFile.objects.update_or_create(version=version, kind=kind, page=page, defaults=fields)


def drafts_left_alone() -> list[int]:
    return left_alone(ChartDraft.objects.all())


def versions_left_alone() -> list[int]:
    return left_alone(ChartVersion.objects.all())
