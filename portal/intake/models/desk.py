"""What a drummer does at the desk: set a song aside, keep a way of looking at the queue, tap a tempo."""

from __future__ import annotations

from typing import ClassVar

from django.db import models
from django.utils import timezone

from portal.bookings.board_filter import Due
from portal.bookings.models import Song
from portal.bookings.stages import SongStage
from portal.people.models import User


class SetAside(models.Model):
    """The song waits at the end of the queue until the drummer takes it up again. It moves no stage, and no turn."""

    song = models.OneToOneField(Song, on_delete=models.CASCADE, related_name="set_aside")
    by = models.ForeignKey(User, on_delete=models.CASCADE, related_name="+")
    at = models.DateTimeField(default=timezone.now)

    def __str__(self) -> str:
        return f"{self.song}, set aside"


class KeptView(models.Model):
    """A way of looking at the queue, by the name that its drummer gave it."""

    owner = models.ForeignKey(User, on_delete=models.CASCADE, related_name="kept_views")
    name = models.CharField(max_length=40)
    show = models.CharField(max_length=10)
    words = models.CharField(max_length=80, blank=True)
    stage = models.CharField(max_length=12, blank=True)
    due = models.CharField(max_length=5, blank=True)

    class Meta:
        ordering: ClassVar = ["name"]
        constraints: ClassVar = [models.UniqueConstraint(fields=["owner", "name"], name="intake_one_view_a_name")]

    def __str__(self) -> str:
        return self.name

    @property
    def stage_in_words(self) -> str:
        return SongStage(self.stage).label if self.stage else ""

    @property
    def due_in_words(self) -> str:
        return Due(self.due).label if self.due else ""


class Tapping(models.Model):
    """The last taps on a song, and what they say beside what was measured. `from_song`: their clock is the song's."""

    song = models.OneToOneField(Song, on_delete=models.CASCADE, related_name="tapping")
    by = models.ForeignKey(User, on_delete=models.CASCADE, related_name="+")
    at = models.DateTimeField(default=timezone.now)
    taps_s = models.JSONField()
    per_beat = models.PositiveSmallIntegerField(default=1)
    from_song = models.BooleanField(default=False)

    def __str__(self) -> str:
        return f"taps on {self.song}"
