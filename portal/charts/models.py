"""A song's chart: what was measured for it, its versions, and the pages that were engraved of each."""

from __future__ import annotations

from typing import Any, ClassVar

from django.db import models
from django.utils import timezone

from portal.bookings.models import Song
from portal.intake.models import ApprovedMap
from portal.making import MadeByWorker
from portal.people.models import User

NOTE_LENGTH = 300


class ChartDraft(MadeByWorker):
    """What was measured of a song for its chart: MAKING → MADE, or FAILED (`trouble` says why).

    `fingerprint` names the map and the files it was made from: pressed twice it is made once.
    """

    class State(models.TextChoices):
        MAKING = "making", "being made"
        MADE = "made", "made"
        FAILED = "failed", "could not be made"

    song = models.ForeignKey(Song, on_delete=models.CASCADE, related_name="chart_drafts")
    approved_map = models.ForeignKey(ApprovedMap, on_delete=models.CASCADE, related_name="+")
    fingerprint = models.CharField(max_length=64)
    state = models.CharField(max_length=6, choices=State.choices, default=State.MAKING)
    # The JSON of `analysis.core.ChartDraft`.
    draft: models.JSONField[Any, Any] = models.JSONField(null=True, blank=True)
    asked_by = models.ForeignKey(User, on_delete=models.PROTECT, related_name="+")
    asked_at = models.DateTimeField(default=timezone.now)
    made_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering: ClassVar = ["-pk"]
        constraints: ClassVar = [
            models.UniqueConstraint(
                fields=["song", "fingerprint"],
                condition=models.Q(state__in=["making", "made"]),
                name="charts_draft_once_per_input",
            )
        ]

    def __str__(self) -> str:
        return f"chart draft {self.pk}"

    def finish(self, draft: dict[str, Any]) -> None:
        self.draft, self.state, self.made_at = draft, self.State.MADE, timezone.now()
        self.save(update_fields=["draft", "state", "made_at"])


class ChartVersionQuerySet(models.QuerySet["ChartVersion"]):
    def visible_to(self, user: User) -> ChartVersionQuerySet:
        """All of them to the drummer; to a client those that were shared."""
        if user.is_drummer:
            return self
        return self.filter(song__booking__members__user=user).exclude(shared_at=None)


class ChartVersion(MadeByWorker):
    """The chart as it was saved once. Versions are kept; the newest counts. ENGRAVING → ENGRAVED, or FAILED.

    `chart` is the JSON that `analysis.chart.read_chart` reads. `draft` is the one it was begun from, where it was.
    """

    class Origin(models.TextChoices):
        DRAFTED = "drafted", "as measured"
        EDITED = "edited", "by hand"
        MERGED = "merged", "with a newer draft"
        SENT = "sent", "from a MusicXML file"

    class State(models.TextChoices):
        ENGRAVING = "engraving", "being engraved"
        ENGRAVED = "engraved", "engraved"
        FAILED = "failed", "could not be engraved"

    song = models.ForeignKey(Song, on_delete=models.CASCADE, related_name="chart_versions")
    number = models.PositiveSmallIntegerField()
    origin = models.CharField(max_length=7, choices=Origin.choices)
    chart: models.JSONField[Any, Any] = models.JSONField()
    approved_map = models.ForeignKey(ApprovedMap, on_delete=models.CASCADE, related_name="+")
    draft = models.ForeignKey(ChartDraft, null=True, blank=True, on_delete=models.SET_NULL, related_name="+")
    # What a newer draft or map has otherwise than what a person decided, as sentences.
    differences: models.JSONField[Any, Any] = models.JSONField(default=list, blank=True)
    note = models.CharField(max_length=NOTE_LENGTH, blank=True)
    saved_by = models.ForeignKey(User, on_delete=models.PROTECT, related_name="+")
    saved_at = models.DateTimeField(default=timezone.now)
    shared_at = models.DateTimeField(null=True, blank=True)
    state = models.CharField(max_length=9, choices=State.choices, default=State.ENGRAVING)

    objects: ClassVar[ChartVersionQuerySet] = ChartVersionQuerySet.as_manager()  # type: ignore[assignment]

    class Meta:
        ordering: ClassVar = ["-number"]
        constraints: ClassVar = [models.UniqueConstraint(fields=["song", "number"], name="charts_version_number")]

    def __str__(self) -> str:
        return f"chart {self.number} of {self.song}"

    def finish(self) -> None:
        self.state, self.trouble = self.State.ENGRAVED, ""
        self.save(update_fields=["state", "trouble"])

    def share(self, *, on: bool) -> None:
        self.shared_at = timezone.now() if on else None
        self.save(update_fields=["shared_at"])


class ChartFileQuerySet(models.QuerySet["ChartFile"]):
    def visible_to(self, user: User) -> ChartFileQuerySet:
        return self.filter(version__in=ChartVersion.objects.visible_to(user))


class ChartFile(models.Model):
    """One file of a version: a page for the screen, a PDF to print, or a file for other programs."""

    class Kind(models.TextChoices):
        SCREEN = "screen", "page for the kit"
        PREVIEW = "preview", "page as printed on A4"
        A4 = "a4", "PDF, A4"
        LETTER = "letter", "PDF, Letter"
        A4_LARGE = "a4-large", "PDF, A4, large print"
        LETTER_LARGE = "letter-large", "PDF, Letter, large print"
        MUSICXML = "musicxml", "MusicXML 4.0"
        MEI = "mei", "MEI"

    version = models.ForeignKey(ChartVersion, on_delete=models.CASCADE, related_name="files")
    kind = models.CharField(max_length=12, choices=Kind.choices)
    page = models.PositiveSmallIntegerField(default=1)
    name = models.CharField(max_length=255)
    key = models.CharField(max_length=160)
    size_bytes = models.PositiveBigIntegerField()

    objects: ClassVar[ChartFileQuerySet] = ChartFileQuerySet.as_manager()  # type: ignore[assignment]

    class Meta:
        ordering: ClassVar = ["kind", "page"]
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["version", "kind", "page"], name="charts_one_of_a_kind")
        ]

    def __str__(self) -> str:
        return self.name
