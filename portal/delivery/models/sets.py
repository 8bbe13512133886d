"""Multitracks as sets: collected, checked, released, accepted."""

from __future__ import annotations

from typing import Any, ClassVar

from django.db import models
from django.utils import timezone

from analysis.delivery import LABELS, Check
from portal.bookings.models import Song
from portal.people.models import Perspective, User

# What the drummer writes about a track: it holds for the corrected one.
SHEET_COLUMNS = ("channel", "microphone", "polarity", "take", "note")


class DeliveryQuerySet(models.QuerySet["Delivery"]):
    def visible_to(self, user: User) -> DeliveryQuerySet:
        if user.is_drummer:
            return self
        return self.filter(song__booking__members__user=user, state__in=Delivery.SEEN_BY_CLIENT)


class Delivery(models.Model):
    """OPEN (files are added) → CHECKING → CHECKED (passed, or each failure waived with a reason) → RELEASED → ACCEPTED.

    Adding or removing a file opens it again. `checks` is the list that `analysis.delivery.verify` gave.
    """

    class State(models.TextChoices):
        OPEN = "open", "collecting files"
        CHECKING = "checking", "being checked"
        CHECKED = "checked", "checked"
        RELEASED = "released", "released"
        ACCEPTED = "accepted", "accepted"

    Perspective = Perspective

    class Begins(models.TextChoices):
        MIX = "mix", "where the accepted rough mix begins"
        FILES = "files", "where the client’s files begin"
        SESSION = "session", "where the session pack begins"

    SEEN_BY_CLIENT = (State.RELEASED, State.ACCEPTED)

    song = models.ForeignKey(Song, on_delete=models.CASCADE, related_name="deliveries")
    number = models.PositiveSmallIntegerField()
    state = models.CharField(max_length=8, choices=State.choices, default=State.OPEN)
    note = models.TextField(blank=True, max_length=4000)
    perspective = models.CharField(max_length=8, choices=Perspective.choices, default=Perspective.UNSAID)
    begins = models.CharField(max_length=7, choices=Begins.choices, default=Begins.MIX)
    # For whoever records the same kit again: heads, tuning, places of microphones, settings.
    recall = models.TextField(blank=True, max_length=8000)
    checks = models.JSONField(default=list, blank=True)
    passed = models.BooleanField(default=False)
    check_asked_at = models.DateTimeField(null=True, blank=True)
    opened_at = models.DateTimeField(default=timezone.now)
    # Of a set that went out: its papers as they were handed over (`portal.delivery.sheet.papers`).
    papers: models.JSONField[list[dict[str, Any]], list[dict[str, Any]]] = models.JSONField(default=list, blank=True)
    released_at = models.DateTimeField(null=True, blank=True)
    # When a client first downloaded something of it.
    fetched_at = models.DateTimeField(null=True, blank=True)
    accepted_at = models.DateTimeField(null=True, blank=True)
    accepted_by = models.ForeignKey(User, null=True, blank=True, on_delete=models.SET_NULL, related_name="+")

    objects: ClassVar[DeliveryQuerySet] = DeliveryQuerySet.as_manager()  # type: ignore[assignment]

    class Meta:
        ordering: ClassVar = ["-number"]
        verbose_name_plural = "deliveries"
        constraints: ClassVar = [models.UniqueConstraint(fields=["song", "number"], name="delivery_number")]

    def __str__(self) -> str:
        return f"delivery {self.number} of {self.song}"

    @property
    def is_open(self) -> bool:
        """Whether files may still come and go."""
        return self.state not in self.SEEN_BY_CLIENT

    @property
    def stated_perspective(self) -> str:
        """As the engine takes it: empty where nobody said."""
        return "" if self.perspective == self.Perspective.UNSAID else self.perspective

    @property
    def failures(self) -> list[dict[str, Any]]:
        """Failed checks that nobody waived."""
        waived = {(waiver.code, waiver.file_name) for waiver in self.waivers.all()}
        return [check for check in self.checks if not check["passed"] and key_of(check) not in waived]

    def reopen(self) -> None:
        """The set changed: what was checked, and what was waived, was another set."""
        self.state, self.checks, self.passed = self.State.OPEN, [], False
        self.save(update_fields=["state", "checks", "passed"])
        self.waivers.all().delete()

    def ask_check(self) -> None:
        self.state, self.check_asked_at = self.State.CHECKING, timezone.now()
        self.save(update_fields=["state", "check_asked_at"])

    def store_checks(self, checks: list[dict[str, Any]], *, passed: bool) -> None:
        self.state, self.checks, self.passed = self.State.CHECKED, checks, passed
        self.save(update_fields=["state", "checks", "passed"])

    def release(self, *, note: str) -> None:
        self.state, self.note, self.released_at = self.State.RELEASED, note, timezone.now()
        self.save(update_fields=["state", "note", "released_at"])

    def keep_papers(self, papers: list[dict[str, Any]]) -> None:
        self.papers = papers
        self.save(update_fields=["papers"])

    def accept(self, *, by: User) -> None:
        self.state, self.accepted_by, self.accepted_at = self.State.ACCEPTED, by, timezone.now()
        self.save(update_fields=["state", "accepted_by", "accepted_at"])


def key_of(check: dict[str, Any]) -> tuple[str, str]:
    """What a check is about: its code, and its file where it is about one."""
    return check["code"], check["file"] or ""


def is_undecided(check: dict[str, Any]) -> bool:
    """Whether it could not be decided. Checks stored before that was noted say it in their words alone."""
    return bool(check.get("undecided", check["message"].startswith("Can't tell")))


def as_check(check: dict[str, Any]) -> Check:
    return Check.from_json(check | {"undecided": is_undecided(check)})


class Waiver(models.Model):
    """One failed check of a set that a drummer waived, and why. A changed set is checked again, without it."""

    delivery = models.ForeignKey(Delivery, on_delete=models.CASCADE, related_name="waivers")
    code = models.CharField(max_length=40)
    file_name = models.CharField(max_length=255, blank=True)
    reason = models.CharField(max_length=300)
    waived_by = models.ForeignKey(User, on_delete=models.PROTECT, related_name="+")
    waived_at = models.DateTimeField(default=timezone.now)

    class Meta:
        ordering: ClassVar = ["pk"]
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["delivery", "code", "file_name"], name="delivery_waived_once")
        ]

    def __str__(self) -> str:
        return f"{self.code}: {self.reason}"


class DeliveryFileQuerySet(models.QuerySet["DeliveryFile"]):
    def visible_to(self, user: User) -> DeliveryFileQuerySet:
        seen = self.filter(delivery__in=Delivery.objects.visible_to(user))
        return seen if user.is_drummer else seen.current()

    def current(self) -> DeliveryFileQuerySet:
        """What goes out: without what a corrected track replaced."""
        return self.filter(replaced_at=None)


class DeliveryFile(models.Model):
    """One track of a set: part of it, or REPLACED (`replaced_at`) by a corrected one.

    Its name is unique among what goes out, compared without regard to case and Unicode form.

    `facts` is what the check measured; `channel` (its code; empty: the one that its name says), microphone,
    polarity and take are what the drummer writes on the delivery sheet;
    `corrections` says what the house did to what was sent, when it was asked to.
    """

    class Polarity(models.TextChoices):
        UNSAID = "unsaid", "not stated"
        RECORDED = "recorded", "as recorded"
        FLIPPED = "flipped", "flipped"
        TURNED = "turned", "turned over here"

    delivery = models.ForeignKey(Delivery, on_delete=models.CASCADE, related_name="files")
    sent_by = models.ForeignKey(User, on_delete=models.PROTECT, related_name="+")
    name = models.CharField(max_length=255)
    folded_name = models.CharField(max_length=255)
    sha256 = models.CharField(max_length=64)
    key = models.CharField(max_length=120)
    size_bytes = models.PositiveBigIntegerField()
    received_at = models.DateTimeField(default=timezone.now)
    # What came in one go: such files never replace each other.
    sent_with = models.CharField(max_length=40, blank=True)
    version = models.PositiveSmallIntegerField(default=1)
    replaced_at = models.DateTimeField(null=True, blank=True)
    # What a zip's directory says of a file before its bytes come (ISO 3309); known once the set was checked.
    crc32 = models.PositiveBigIntegerField(null=True, blank=True)
    facts = models.JSONField(default=dict, blank=True)
    # What the sheet says of its sound (`analysis.handover.SheetTrack`).
    track: models.JSONField[dict[str, Any], dict[str, Any]] = models.JSONField(default=dict, blank=True)
    corrections: models.JSONField[list[str], list[str]] = models.JSONField(default=list, blank=True)
    channel = models.CharField(max_length=8, blank=True, choices=list(LABELS.items()))
    microphone = models.CharField(max_length=120, blank=True)
    polarity = models.CharField(max_length=8, choices=Polarity.choices, default=Polarity.UNSAID)
    take = models.CharField(max_length=40, blank=True)
    note = models.CharField(max_length=200, blank=True)

    objects: ClassVar[DeliveryFileQuerySet] = DeliveryFileQuerySet.as_manager()  # type: ignore[assignment]

    class Meta:
        ordering: ClassVar = ["name", "version"]
        constraints: ClassVar = [
            models.UniqueConstraint(
                fields=["delivery", "folded_name"], condition=models.Q(replaced_at=None), name="delivery_file_name_once"
            ),
            models.UniqueConstraint(fields=["delivery", "folded_name", "version"], name="delivery_file_version"),
        ]

    def __str__(self) -> str:
        return self.name

    def be_replaced(self) -> None:
        self.replaced_at = timezone.now()
        self.save(update_fields=["replaced_at"])
