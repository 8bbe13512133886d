"""What a person does with a chart: have it drafted, save a version, go back to one, share it."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

from django.db import IntegrityError, transaction

from analysis.chart import read_chart
from analysis.core import ChartError
from analysis.sandbox import read_musicxml_in_child
from portal.bookings import services as bookings
from portal.bookings.models import Song
from portal.charts.errors import ChartingError, NewerChartError
from portal.charts.inputs import NO_FILES, OVER, inputs_of, lacking_in
from portal.charts.models import NOTE_LENGTH, ChartDraft, ChartVersion
from portal.charts.versions import add_version
from portal.mailroom import services as mailroom
from portal.people.models import User
from portal.queueing import queue_task_on_commit

NOT_ENGRAVED = "The pages of this version are not engraved yet: share it when they are there."
NO_MAP = "There is no approved tempo map: approve one first."


def ask_draft(*, song: Song, by: User) -> ChartDraft:
    """Have the song's chart drafted. Pressed twice it is made once."""
    lacking, inputs = lacking_in(song), inputs_of(song)
    if lacking or inputs is None:
        raise ChartingError(lacking.sentence if lacking else NO_FILES)
    there = {"song": song, "fingerprint": inputs.fingerprint}
    making = ChartDraft.objects.filter(**there, state=ChartDraft.State.MAKING).first()
    if making:
        return making
    try:
        with transaction.atomic():
            # Measured of the very same already: it is measured anew only where the engine or the files are others.
            made = ChartDraft.objects.filter(**there, state=ChartDraft.State.MADE)
            made.delete()
            draft = ChartDraft.objects.create(**there, approved_map=inputs.approved, asked_by=by)
            queue_task_on_commit("portal.charts.tasks.make_draft", draft.pk)
    except IntegrityError:  # pressed twice at the same moment
        return ChartDraft.objects.get(**there, state=ChartDraft.State.MAKING)
    return draft


@transaction.atomic
def save(*, song: Song, chart: Any, seen: int, note: str, by: User) -> ChartVersion:
    """Save what a person made of version `seen` (0: of none).

    Raises NewerChartError where somebody saved another one meanwhile, ChartingError where it is no chart.
    """
    song = Song.objects.select_for_update().get(pk=song.pk)
    _check_open(song)
    newest = song.chart_versions.first()
    number = newest.number if newest else 0
    if number != seen:
        who = newest.saved_by.name if newest else ""
        raise NewerChartError(
            f"{who} saved version {number} meanwhile, and you began with version {seen}. Your work is kept in this"
            " browser: open the newest version, or save yours as a version of its own."
        )
    try:
        read = read_chart(chart)
    except ChartError as error:
        raise ChartingError(f"This is no chart that can be saved: {error}.") from error
    approved = newest.approved_map if newest else song.maps.first()
    if approved is None:
        raise ChartingError(NO_MAP)
    return add_version(
        song,
        read.to_json(),
        origin=ChartVersion.Origin.EDITED,
        approved=approved,
        by=by,
        draft=newest.draft if newest else None,
        note=note.strip()[:NOTE_LENGTH],
    )


def take_musicxml(*, song: Song, path: Path, name: str, by: User) -> ChartVersion:
    """A chart that somebody wrote elsewhere, as the next version. `name` is the sent file's."""
    _check_open(song)
    try:
        read = read_musicxml_in_child(path)
    except ChartError as error:
        raise ChartingError(f"“{name}” is not taken: {error}.") from error
    with transaction.atomic():
        song = Song.objects.select_for_update().get(pk=song.pk)
        approved = song.maps.first()
        if approved is None:
            raise ChartingError(NO_MAP)
        return add_version(
            song,
            replace(read.chart, title=song.title).to_json(),
            origin=ChartVersion.Origin.SENT,
            approved=approved,
            by=by,
            differences=list(read.left_out),
            note=name[:NOTE_LENGTH],
        )


@transaction.atomic
def restore(*, version: ChartVersion, by: User) -> ChartVersion:
    """An earlier version counts again, as a new one."""
    song = Song.objects.select_for_update().get(pk=version.song_id)
    _check_open(song)
    return add_version(
        song,
        version.chart,
        origin=ChartVersion.Origin(version.origin),
        approved=version.approved_map,
        by=by,
        draft=version.draft,
        note=f"version {version.number} again",
    )


@transaction.atomic
def share(*, version: ChartVersion, on: bool, by: User) -> None:
    """Let the client see this version, or no longer. Of each version they hear once.

    Raises ChartingError before its pages are there.
    """
    if on and version.state != ChartVersion.State.ENGRAVED:
        raise ChartingError(NOT_ENGRAVED)
    version.share(on=on)
    song = version.song
    text = "shared" if on else "no longer shares"
    bookings.note_song(song, text=f"{text} version {version.number} of the chart", actor=by)
    if on:
        mailroom.post(
            booking=song.booking,
            song=song,
            key=f"chart:{version.pk}:shared",
            subject=f"The chart of “{song.title}”",
            body=f"{by.name} shares the chart of “{song.title}” with you. It is on the song’s page, to print too.",
            sender=by,
        )


def _check_open(song: Song) -> None:
    if song.booking.is_over:
        raise ChartingError(OVER)
