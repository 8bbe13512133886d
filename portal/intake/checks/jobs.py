"""The work behind the tasks: survey one file, measure one song, and start again what was left lying.

Nothing here holds a lock while it measures. `storing.py` stores what a song's check found.
"""

from __future__ import annotations

import logging
from contextlib import ExitStack
from datetime import timedelta
from pathlib import Path

from django.db import transaction
from django.db.models import FloatField, Q, Sum
from django.db.models.fields.json import KeyTextTransform
from django.db.models.functions import Cast
from django.utils import timezone

from analysis import ENGINE_VERSION
from analysis.core import FileReport, SongNotMeasuredError, SongReport
from analysis.findings import client_message
from analysis.sandbox import measure_song_in_child, survey_in_child
from portal import file_serving
from portal.bookings.models import Song
from portal.bookings.services import move_song, record
from portal.bookings.stages import OVER_STAGES, SongStage
from portal.clean_text import clean_deep
from portal.heartbeat import alive
from portal.intake import hooks
from portal.intake.checks import answering, apply_check, inputs, storing
from portal.intake.checks.song_facts import facts_of
from portal.intake.files.announcing import forget_expired
from portal.intake.files.fair_order import next_of
from portal.intake.files.stored_features import store_features
from portal.intake.files.waiting import awaited_of, start_check
from portal.intake.models import CLAIM_LASTS, SentZip, SongCheck, SourceFile
from portal.job_folders import job_folder
from portal.queueing import queue_left
from portal.uploads import parts
from portal.uploads.errors import UploadBusyError

SURVEY_LEFT_AFTER = CLAIM_LASTS
CHECK_LEFT_AFTER = timedelta(minutes=2)
MOST_TRIES = 3
MOST_SOUND_HOURS = 500  # of one booking's files together (house choice)
CANNOT_MEASURE = "We could not measure this file. It is stored as you sent it, and we will look at it ourselves."

logger = logging.getLogger(__name__)


def survey_next() -> None:
    """Measure the file that is due. One that another worker took a moment before is left to it."""
    while (
        source_id := next_of(SourceFile.objects.unclaimed(), began="survey_began_at", tries="survey_tries")
    ) is not None:
        if survey(source_id):
            return


def survey(source_id: int) -> bool:
    """Measure one file, unless that is done or under way: then False."""
    source = SourceFile.objects.claim(source_id)
    if source is None:
        return False
    try:
        survey_claimed(source)
    except OSError:
        source.let_go()  # the store was out of reach: the task is tried again in a moment
        raise
    return True


def survey_claimed(source: SourceFile) -> None:
    if source.survey_tries > MOST_TRIES:
        finish_survey(source.pk, report=None, features_key="")
        return
    with (
        alive(source.go_on),
        job_folder() as folder,
        file_serving.local_copy(source.key) as original,
    ):
        features_path = Path(folder, "features.npz")
        report = survey_in_child(original, name=source.name, features_to=features_path)
        features_key = store_features(source, features_path) if is_readable(report) else ""
    finish_survey(source.pk, report=report, features_key=features_key)


def is_readable(report: FileReport) -> bool:
    return report.duration_s is not None


@transaction.atomic
def finish_survey(source_id: int, *, report: FileReport | None, features_key: str) -> None:
    """Store what was found. Whoever stores a song's last file starts the song's check."""
    source = SourceFile.objects.select_related("song__booking").get(pk=source_id)
    song = Song.objects.select_for_update().get(pk=source.song_id)
    source.refresh_from_db(fields=["status", "removed_at"])
    if source.status != SourceFile.Status.RECEIVED:
        return
    too_long = "" if report is None else over_hours(song, report)
    if too_long:
        source.refuse(reason=too_long)
        record(song.booking, f"“{source.name}” cannot be used", song=song)
    elif report is not None and is_readable(report):
        source.store_report(report.to_json(), features_key=features_key)
        for call in hooks.on_file_measured:
            call(source.pk)
    else:
        refuse(source, report)
    logger.info("source file %s: %s", source.pk, source.status)
    start_check(song)


def over_hours(song: Song, report: FileReport) -> str:
    """The sentence, when the booking's files together are longer than they may be; else empty."""
    duration_s = Cast(KeyTextTransform("duration_s", "report"), FloatField())
    surveyed = SourceFile.objects.current().filter(song__booking=song.booking_id, status=SourceFile.Status.SURVEYED)
    has_s = surveyed.aggregate(s=Sum(duration_s))["s"] or 0.0
    if has_s + (report.duration_s or 0.0) <= MOST_SOUND_HOURS * 3_600:
        return ""
    return (
        f"With this file the booking would have more than {MOST_SOUND_HOURS} hours of sound, the most that it may "
        "have. Please remove files that are not needed, then send it again."
    )


def refuse(source: SourceFile, report: FileReport | None) -> None:
    reason = CANNOT_MEASURE
    if report is not None and report.findings:
        reason = client_message(report.findings[0])
    source.refuse(reason=reason, report=None if report is None else report.to_json())
    record(source.song.booking, f"“{source.name}” cannot be used", song=source.song)


def measure(song_id: int) -> None:
    """Measure a song from its files' features, or take the check that was made from the same; then act on it."""
    song = Song.objects.get(pk=song_id)
    gathered = inputs.gather(song)
    if gathered is None or awaited_of(song):
        return
    check, is_new = SongCheck.objects.get_or_create(song=song, fingerprint=gathered.fingerprint)
    try:
        with parts.locked(f"check{check.pk}"):
            measure_locked(check, gathered, is_new=is_new)
            parts.lock_path(f"check{check.pk}").unlink(missing_ok=True)
    except UploadBusyError:
        logger.info("song %s: another worker is measuring it", song.pk)


def measure_locked(check: SongCheck, gathered: inputs.CheckInputs, *, is_new: bool) -> None:
    if not is_new:
        check.refresh_from_db()
        check.begin()
    try:
        with alive(check.go_on):
            report = check.report or clean_deep(measured(gathered).to_json())
            found = apply_check.found_in(SongReport.from_json(report), gathered)
    except Exception as error:
        # A fault of ours: logged by whoever runs the task.
        break_off(check, trouble=str(error) if isinstance(error, SongNotMeasuredError) else "")
        raise
    with alive(check.go_on):
        storing.store(check, report, found)


@transaction.atomic
def break_off(check: SongCheck, *, trouble: str) -> None:
    """The song sheet says so until a check gets through. A song must not wait in "checking" for a repair; one that
    went on meanwhile stays where the drummer has it, and one that changed meanwhile waits for its own check."""
    song = Song.objects.select_for_update().get(pk=check.song_id)
    check.break_off(trouble)
    if song.stage == SongStage.CHECKING and storing.still_due(song, check):
        text = "the check failed: the drummer looks at it"
        move_song(song, SongStage.ON_DESK, text=text, **facts_of(song))


def measured(gathered: inputs.CheckInputs) -> SongReport:
    if not gathered.measured:
        return SongReport(engine=ENGINE_VERSION)
    reports = inputs.reports_of(gathered.measured)
    with ExitStack() as lent:
        song_files = [
            (
                FileReport.from_json(reports.get(source.pk, {})),
                lent.enter_context(file_serving.local_copy(source.features_key)),
                lent.enter_context(file_serving.local_copy(source.key)),
            )
            for source in gathered.measured
        ]
        return measure_song_in_child(song_files, gathered.brief)


def sweep() -> None:
    """Start again what a killed worker or a broker that was down left lying. The rows say what that is."""
    forget_expired()
    queue_left("portal.intake.tasks.unpack_zip", left_zips())
    queue_left("portal.intake.tasks.survey_file", left_files())
    queue_left("portal.intake.tasks.send_answers", answering.left_answers())
    queue_left("portal.intake.tasks.measure_song", left_songs())


def left_files() -> list[int]:
    left = SourceFile.objects.unclaimed().filter(received_at__lt=timezone.now() - SURVEY_LEFT_AFTER)
    return list(left.values_list("pk", flat=True))


def left_zips() -> list[int]:
    left = SentZip.objects.unclaimed().filter(received_at__lt=timezone.now() - SURVEY_LEFT_AFTER)
    return list(left.values_list("pk", flat=True))


def let_go_all(*, files: bool, zips: bool) -> None:
    """Claims whose workers are known to be dead."""
    if files:
        SourceFile.objects.filter(status=SourceFile.Status.RECEIVED).update(survey_began_at=None)
    if zips:
        SentZip.objects.waiting().update(began_at=None)


def left_songs() -> list[int]:
    """Songs that are being checked although no file waits for its survey, and no check began lately."""
    long_ago = timezone.now() - CHECK_LEFT_AFTER
    surveyed_now = SourceFile.objects.current().filter(
        Q(status=SourceFile.Status.RECEIVED) | Q(survey_began_at__gte=long_ago)
    )
    measured_now = SongCheck.objects.filter(began_at__gte=long_ago)
    left = Song.objects.filter(stage=SongStage.CHECKING, turn_since__lt=long_ago)
    left = (
        left.exclude(pk__in=surveyed_now.values("song"))
        .exclude(pk__in=measured_now.values("song"))
        .exclude(pk__in=SentZip.objects.waiting().values("song"))
        .exclude(booking__stage__in=OVER_STAGES)
    )
    return list(left.values_list("pk", flat=True))
