"""What is said about a rough mix, at the bars it is about."""

from __future__ import annotations

from typing import ClassVar

from django.db import models
from django.utils import timezone

from portal.bookings.models import Song
from portal.intake.models import ApprovedMap
from portal.people.models import User
from portal.takes.models.rough_mixes import RoughMix

LONGEST_NOTE = 1_000
HIGHEST_BAR = 9_999


class BarNoteQuerySet(models.QuerySet["BarNote"]):
    def visible_to(self, user: User) -> BarNoteQuerySet:
        """With the rough mix it is about."""
        return self.filter(rough_mix__in=RoughMix.objects.visible_to(user))

    def open(self) -> BarNoteQuerySet:
        return self.filter(done_at=None)


class BarNote(models.Model):
    """A note on one bar or a range of bars: OPEN → DONE, and back.

    Its bars stay as they were written, beside the map that they were counted by. Where another map is approved later,
    the page shows the bars that lie at the same time in it (`portal.takes.note_bars`).
    """

    song = models.ForeignKey(Song, on_delete=models.CASCADE, related_name="bar_notes")
    rough_mix = models.ForeignKey(RoughMix, on_delete=models.CASCADE, related_name="bar_notes")
    approved_map = models.ForeignKey(ApprovedMap, on_delete=models.RESTRICT, related_name="+")
    written_by = models.ForeignKey(User, on_delete=models.PROTECT, related_name="+")
    written_at = models.DateTimeField(default=timezone.now)
    first_bar = models.SmallIntegerField()
    last_bar = models.SmallIntegerField()
    text = models.CharField(max_length=LONGEST_NOTE)
    # Made by the page, so that a note that is sent twice is one.
    key = models.UUIDField(null=True, blank=True)
    # The change that it was asked for with; a note that was only left is part of none.
    asked_with = models.ForeignKey(
        RoughMix, null=True, blank=True, on_delete=models.SET_NULL, related_name="asked_notes"
    )
    done_at = models.DateTimeField(null=True, blank=True)
    done_by = models.ForeignKey(User, null=True, blank=True, on_delete=models.SET_NULL, related_name="+")

    objects: ClassVar[BarNoteQuerySet] = BarNoteQuerySet.as_manager()  # type: ignore[assignment]

    class Meta:
        ordering: ClassVar = ["pk"]
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["song", "key"], name="takes_note_once"),
            models.CheckConstraint(condition=models.Q(last_bar__gte=models.F("first_bar")), name="takes_note_bars"),
        ]

    def __str__(self) -> str:
        return f"note on bar {self.first_bar} of {self.song}"

    @property
    def is_done(self) -> bool:
        return self.done_at is not None

    def mark(self, *, is_done: bool, by: User) -> None:
        self.done_at, self.done_by = (timezone.now(), by) if is_done else (None, None)
        self.save(update_fields=["done_at", "done_by"])

    def ask_with(self, rough_mix: RoughMix) -> None:
        self.asked_with = rough_mix
        self.save(update_fields=["asked_with"])


class NoteAnswer(models.Model):
    """What somebody answered to a note. Written once."""

    note = models.ForeignKey(BarNote, on_delete=models.CASCADE, related_name="answers")
    written_by = models.ForeignKey(User, on_delete=models.PROTECT, related_name="+")
    written_at = models.DateTimeField(default=timezone.now)
    text = models.CharField(max_length=LONGEST_NOTE)

    class Meta:
        ordering: ClassVar = ["pk"]

    def __str__(self) -> str:
        return self.text
