"""Copies to play from: written by us, so that reading a part of one is quick, and safe in a web process."""

from __future__ import annotations

from typing import ClassVar

from django.db import models
from django.utils import timezone

from portal.intake.models import SourceFile


class PlayCopy(models.Model):
    """The FLAC of one source file: MAKING → MADE, or FAILED (`trouble` says why). Frames count from the original's."""

    class State(models.TextChoices):
        MAKING = "making", "being made"
        MADE = "made", "made"
        FAILED = "failed", "could not be made"

    source = models.OneToOneField(SourceFile, on_delete=models.CASCADE, related_name="play_copy")
    state = models.CharField(max_length=6, choices=State.choices, default=State.MAKING)
    key = models.CharField(max_length=160, blank=True)
    sample_rate_hz = models.PositiveIntegerField(default=0)
    channels = models.PositiveSmallIntegerField(default=0)
    frames = models.PositiveBigIntegerField(default=0)
    trouble = models.CharField(max_length=200, blank=True)
    tries = models.PositiveSmallIntegerField(default=0)
    began_at = models.DateTimeField(default=timezone.now)

    class Meta:
        ordering: ClassVar = ["pk"]

    def __str__(self) -> str:
        return f"copy of {self.source}"

    def begin(self) -> None:
        self.tries, self.began_at = self.tries + 1, timezone.now()
        self.save(update_fields=["tries", "began_at"])

    def go_on(self) -> None:
        """It is being made still."""
        self.began_at = timezone.now()
        self.save(update_fields=["began_at"])

    def finish(self, *, key: str, sample_rate_hz: int, channels: int, frames: int) -> None:
        self.state, self.key, self.trouble = self.State.MADE, key, ""
        self.sample_rate_hz, self.channels, self.frames = sample_rate_hz, channels, frames
        self.save(update_fields=["state", "key", "trouble", "sample_rate_hz", "channels", "frames"])

    def fail(self, trouble: str) -> None:
        self.state, self.trouble = self.State.FAILED, trouble[:200]
        self.save(update_fields=["state", "trouble"])
