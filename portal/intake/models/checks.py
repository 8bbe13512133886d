"""What was measured of a song, what was found, and what the drummer decided about it."""

from __future__ import annotations

from typing import Any, ClassVar

from django.core.validators import MaxValueValidator
from django.db import models
from django.utils import timezone
from django.utils.functional import cached_property

from analysis.core import SongReport as SongNumbers
from portal.bookings.models import Song
from portal.intake.models.sources import SourceFile
from portal.mailroom.models import Question
from portal.people.models import User

TROUBLE_LENGTH = 200
MOST_COUNT_IN_BARS = 16


class SongCheckQuerySet(models.QuerySet["SongCheck"]):
    def done(self) -> SongCheckQuerySet:
        return self.exclude(made_at=None)


class SongCheck(models.Model):
    """One measurement of a whole song: BEGUN (no report yet) → MEASURED (a report that nobody is shown yet) → DONE
    (`made_at`), or BROKEN_OFF (`trouble` says why), from where it may begin again. `fingerprint` names its inputs
    (files, brief, engine): the same inputs are measured and stored once."""

    song = models.ForeignKey(Song, on_delete=models.CASCADE, related_name="checks")
    fingerprint = models.CharField(max_length=64)
    report = models.JSONField(null=True, blank=True)
    engine = models.CharField(max_length=20, blank=True)
    began_at = models.DateTimeField(default=timezone.now)
    made_at = models.DateTimeField(null=True, blank=True)
    broke_off_at = models.DateTimeField(null=True, blank=True)
    trouble = models.CharField(max_length=TROUBLE_LENGTH, blank=True)

    objects: ClassVar[SongCheckQuerySet] = SongCheckQuerySet.as_manager()  # type: ignore[assignment]

    class Meta:
        ordering: ClassVar = ["-made_at", "-pk"]
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["song", "fingerprint"], name="intake_check_once_per_input")
        ]

    def __str__(self) -> str:
        return f"check {self.pk}"

    @cached_property
    def numbers(self) -> SongNumbers:
        return SongNumbers.from_json(self.report or {})

    @property
    def click_names(self) -> set[str]:
        """The files that were recognised as clicks. A file alone does not tell: its song's check does."""
        return {report.name for report in self.numbers.files if report.is_click}

    def begin(self) -> None:
        self.began_at, self.broke_off_at, self.trouble = timezone.now(), None, ""
        self.save(update_fields=["began_at", "broke_off_at", "trouble"])

    def go_on(self) -> None:
        """It is being measured still."""
        self.began_at = timezone.now()
        self.save(update_fields=["began_at"])

    def break_off(self, trouble: str) -> None:
        self.broke_off_at, self.trouble = timezone.now(), trouble[:TROUBLE_LENGTH]
        self.save(update_fields=["broke_off_at", "trouble"])

    def keep(self, *, report: dict[str, Any], engine: str) -> None:
        """What was measured need not be measured again. The texts in the report are clean."""
        self.report, self.engine = report, engine
        self.save(update_fields=["report", "engine"])

    def finish(self) -> None:
        """Also when the song is back where it was when this was measured: it is its newest check again."""
        self.made_at = timezone.now()
        self.save(update_fields=["made_at"])


class FindingQuerySet(models.QuerySet["Finding"]):
    def visible_to(self, user: User) -> FindingQuerySet:
        return self if user.is_drummer else self.filter(song__booking__members__user=user)

    def open(self) -> FindingQuerySet:
        return self.filter(state=Finding.State.OPEN)

    def resolved(self) -> FindingQuerySet:
        return self.filter(state=Finding.State.RESOLVED)

    def coming(self) -> FindingQuerySet:
        return self.filter(state=Finding.State.COMING)

    def with_source(self) -> FindingQuerySet:
        """What is said about each, and of which file: not what was measured of that, which may be long."""
        return self.select_related("source").only(
            *("song", "code", "severity", "place", "value", "state", "question"),
            *("source__song", "source__name", "source__version"),
        )


class FindingManager(models.Manager.from_queryset(FindingQuerySet)):  # type: ignore[misc]
    def get_queryset(self) -> FindingQuerySet:
        """All that anybody may see."""
        return super().get_queryset().exclude(state=Finding.State.COMING)  # type: ignore[no-any-return]


class Finding(models.Model):
    """Something measured that someone should know or decide: COMING (written by a check that is not done, and seen by
    nobody) → OPEN → RESOLVED (a later check no longer finds it; `resolved_by` is the new bounce that mended it) or
    WAIVED (a drummer decided, with a reason, or the client gave the answer that `reason` holds).

    Of one that is open, `resolved_by` and `reason` say nothing: a check writes them down before it is done."""

    class State(models.TextChoices):
        COMING = "coming", "coming"
        OPEN = "open", "open"
        RESOLVED = "resolved", "resolved"
        WAIVED = "waived", "waived"

    class Severity(models.TextChoices):
        STOP = "stop", "stop"
        ASK = "ask", "ask"
        NOTE = "note", "note"

    song = models.ForeignKey(Song, on_delete=models.CASCADE, related_name="findings")
    source = models.ForeignKey(SourceFile, null=True, blank=True, on_delete=models.CASCADE, related_name="findings")
    code = models.CharField(max_length=40)
    severity = models.CharField(max_length=4, choices=Severity.choices)
    place = models.JSONField(default=dict)
    value = models.JSONField(default=dict)
    state = models.CharField(max_length=8, choices=State.choices, default=State.OPEN)
    found_at = models.DateTimeField(default=timezone.now)
    ended_at = models.DateTimeField(null=True, blank=True)
    ended_by = models.ForeignKey(User, null=True, blank=True, on_delete=models.SET_NULL, related_name="+")
    reason = models.CharField(max_length=300, blank=True)
    resolved_by = models.ForeignKey(
        SourceFile, null=True, blank=True, on_delete=models.SET_NULL, related_name="findings_resolved"
    )
    # What asks the client about it, so that it is never asked twice.
    question = models.ForeignKey(Question, null=True, blank=True, on_delete=models.SET_NULL, related_name="findings")
    # Unknown of those that are older than this column.
    found_in = models.ForeignKey(SongCheck, null=True, blank=True, on_delete=models.SET_NULL, related_name="+")

    objects: ClassVar[FindingQuerySet] = FindingManager()
    everything: ClassVar[FindingQuerySet] = FindingQuerySet.as_manager()  # type: ignore[assignment]

    class Meta:
        ordering: ClassVar = ["pk"]
        constraints: ClassVar = [
            # Two, because SQLite cannot compare the missing source of a song's own finding.
            models.UniqueConstraint(
                fields=["source", "code"], condition=models.Q(state="open"), name="intake_file_finding_open_once"
            ),
            models.UniqueConstraint(
                fields=["song", "code"],
                condition=models.Q(state="open", source=None),
                name="intake_song_finding_open_once",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.code} ({self.state})"

    def resolve(self, *, by_source: SourceFile | None = None, reason: str = "") -> None:
        self.resolved_by = by_source
        self.end(self.State.RESOLVED, reason=reason)

    def end(self, state: State, *, by: User | None = None, reason: str = "") -> None:
        self.state, self.ended_at, self.ended_by, self.reason = state, timezone.now(), by, reason
        self.save(update_fields=["state", "ended_at", "ended_by", "reason", "resolved_by"])


class ApprovedMap(models.Model):
    """A tempo map with bar one that a drummer approved: as measured, or overruled. All versions are kept; the newest
    counts."""

    class Origin(models.TextChoices):
        MEASURED = "measured", "as measured"
        OVERRULED = "overruled", "set by hand"

    song = models.ForeignKey(Song, on_delete=models.CASCADE, related_name="maps")
    version = models.PositiveSmallIntegerField()
    origin = models.CharField(max_length=9, choices=Origin.choices)
    # The map JSON that `analysis.maps.tempo_map` reads: {"bar_one_s", "segments": [{"bar", "time_s", "bpm", "meter"}]},
    # and "free": true where a segment has no grid.
    map = models.JSONField()
    # Bars of count-in that the click gets; None: what the brief says, else the usual.
    count_in_bars = models.PositiveSmallIntegerField(
        null=True, blank=True, validators=[MaxValueValidator(MOST_COUNT_IN_BARS)]
    )
    check_seen = models.ForeignKey(SongCheck, null=True, blank=True, on_delete=models.SET_NULL, related_name="+")
    approved_by = models.ForeignKey(User, on_delete=models.PROTECT, related_name="+")
    approved_at = models.DateTimeField(default=timezone.now)
    note = models.CharField(max_length=300, blank=True)

    class Meta:
        ordering: ClassVar = ["-version"]
        constraints: ClassVar = [models.UniqueConstraint(fields=["song", "version"], name="intake_map_version")]

    def __str__(self) -> str:
        return f"map {self.version} of {self.song}"
