"""One file as it was sent, and its versions."""

from __future__ import annotations

from typing import Any, ClassVar

from django.db import models
from django.utils import timezone
from django.utils.functional import cached_property

from analysis.core import FileReport as FileNumbers
from portal.bookings.models import Song
from portal.clean_text import clean, clean_deep
from portal.folding import FoldedField, SearchedModel, SearchedQuerySet
from portal.intake.models.zips import CLAIM_LASTS, SentZip
from portal.people.models import User

REFUSAL_LENGTH = 300


class SourceFileQuerySet(SearchedQuerySet["SourceFile"]):
    def visible_to(self, user: User) -> SourceFileQuerySet:
        return self if user.is_drummer else self.filter(song__booking__members__user=user)

    def current(self) -> SourceFileQuerySet:
        """Leaves out what a newer bounce replaced and what was removed."""
        return self.filter(removed_at=None)

    def unclaimed(self) -> SourceFileQuerySet:
        """Waits for its survey, and no worker is at it."""
        lapsed = models.Q(survey_began_at=None) | models.Q(survey_began_at__lt=timezone.now() - CLAIM_LASTS)
        return self.current().filter(lapsed, status=SourceFile.Status.RECEIVED)

    def claim(self, source_id: int) -> SourceFile | None:
        """Take a file to survey it; None when it is done, or another worker has it. Whoever has it says so again and
        again (`go_on`): a worker that dies loses it after a while."""
        claimed = (
            self.unclaimed()
            .filter(pk=source_id)
            .update(survey_tries=models.F("survey_tries") + 1, survey_began_at=timezone.now())
        )
        return self.get(pk=source_id) if claimed else None

    def versions_of(self, source: SourceFile) -> SourceFileQuerySet:
        """Every version of the same file, the newest first."""
        return self.filter(models.Q(pk=source.line) | models.Q(first=source.line)).order_by("-version")


class SourceFile(SearchedModel):
    """One file as the client sent it: RECEIVED → SURVEYED (report stored) or REFUSED (`refusal` says why).

    Beside that it is part of the song, or left it (`left_as`): REPLACED by another version, or REMOVED by a person.
    Both can be taken back until the house clears the original away (`gone_at`).
    """

    class Status(models.TextChoices):
        RECEIVED = "received", "received"
        SURVEYED = "surveyed", "surveyed"
        REFUSED = "refused", "refused"

    class Left(models.TextChoices):
        REPLACED = "replaced", "replaced"
        REMOVED = "removed", "removed"

    song = models.ForeignKey(Song, on_delete=models.CASCADE, related_name="sources")
    sent_by = models.ForeignKey(User, on_delete=models.PROTECT, related_name="+")
    name = models.CharField(max_length=255)
    folded = FoldedField(of=["name"])
    # Where it lay in the folder or zip that it came in; `sent_with` names what came in one go.
    folder = models.CharField(max_length=255, blank=True)
    sent_with = models.CharField(max_length=40, blank=True)
    zip = models.ForeignKey(SentZip, null=True, blank=True, on_delete=models.SET_NULL, related_name="sources")
    zip_entry = models.PositiveIntegerField(null=True, blank=True)
    sha256 = models.CharField(max_length=64)
    key = models.CharField(max_length=120)
    size_bytes = models.PositiveBigIntegerField()
    status = models.CharField(max_length=8, choices=Status.choices, default=Status.RECEIVED)
    refusal = models.CharField(max_length=REFUSAL_LENGTH, blank=True)
    received_at = models.DateTimeField(default=timezone.now)
    version = models.PositiveSmallIntegerField(default=1)
    # The first version, for all later ones.
    first = models.ForeignKey("self", null=True, blank=True, on_delete=models.CASCADE, related_name="later_versions")
    removed_at = models.DateTimeField(null=True, blank=True)
    removed_by = models.ForeignKey(User, null=True, blank=True, on_delete=models.SET_NULL, related_name="+")
    left_as = models.CharField(max_length=8, choices=Left.choices, blank=True)
    gone_at = models.DateTimeField(null=True, blank=True)
    report = models.JSONField(null=True, blank=True)
    # Somebody said that it is music, though it sounds like a click.
    is_no_click = models.BooleanField(default=False)
    features_key = models.CharField(max_length=160, blank=True)
    # How often a survey began, and the last sign of life of one: a worker that is killed leaves no other trace.
    survey_tries = models.PositiveSmallIntegerField(default=0)
    survey_began_at = models.DateTimeField(null=True, blank=True)

    objects: ClassVar[SourceFileQuerySet] = SourceFileQuerySet.as_manager()  # type: ignore[assignment]

    class Meta:
        ordering: ClassVar = ["pk"]
        indexes: ClassVar = [
            models.Index(
                fields=["song"],
                condition=models.Q(status="received", removed_at=None),
                name="intake_source_waiting",
            )
        ]
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["zip", "zip_entry"], name="intake_zip_entry_once"),
            models.UniqueConstraint(fields=["first", "version"], name="intake_source_version"),
        ]

    def __str__(self) -> str:
        return self.name

    # Of which earlier file of the song this one is a copy, byte for byte; set where files are listed.
    copy_of = ""
    # The titles of the findings that this version mended; set there too.
    settles = ""

    @cached_property
    def numbers(self) -> FileNumbers | None:
        return None if self.report is None else FileNumbers.from_json(self.report)

    @property
    def short_hash(self) -> str:
        """What people compare: the first twelve digits of the SHA-256 of what arrived."""
        return self.sha256[:12]

    @property
    def line(self) -> int:
        """The key of the first version, which all versions of a file share."""
        return self.first_id or self.pk

    @property
    def is_unmeasured(self) -> bool:
        """Refused because measuring failed, not for what the file holds: it can be tried again."""
        return self.status == self.Status.REFUSED and self.report is None

    def go_on(self) -> None:
        """The survey is at work still."""
        self.survey_began_at = timezone.now()
        self.save(update_fields=["survey_began_at"])

    def let_go(self) -> None:
        """Whoever comes next may take it at once."""
        self.survey_began_at = None
        self.save(update_fields=["survey_began_at"])

    def survey_anew(self) -> None:
        self.status, self.refusal = self.Status.RECEIVED, ""
        self.survey_tries, self.survey_began_at = 0, None
        self.save(update_fields=["status", "refusal", "survey_tries", "survey_began_at"])

    def store_report(self, report: dict[str, Any], *, features_key: str) -> None:
        self.status, self.report, self.features_key = self.Status.SURVEYED, clean_deep(report), features_key
        self.save(update_fields=["status", "report", "features_key"])

    def refuse(self, *, reason: str, report: dict[str, Any] | None = None) -> None:
        self.status, self.refusal, self.report = self.Status.REFUSED, clean(reason)[:REFUSAL_LENGTH], clean_deep(report)
        self.save(update_fields=["status", "refusal", "report"])

    def be_no_click(self) -> None:
        self.is_no_click = True
        self.save(update_fields=["is_no_click"])

    def leave(self, left_as: Left, *, by: User | None = None) -> None:
        self.removed_at, self.removed_by, self.left_as = timezone.now(), by, left_as
        self.save(update_fields=["removed_at", "removed_by", "left_as"])

    def come_back(self) -> None:
        self.removed_at, self.removed_by, self.left_as = None, None, ""
        self.save(update_fields=["removed_at", "removed_by", "left_as"])

    def be_gone(self) -> None:
        """The house cleared the original away; what was measured of it stays."""
        self.gone_at = timezone.now()
        self.save(update_fields=["gone_at"])
