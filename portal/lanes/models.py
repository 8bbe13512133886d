"""Copies to play from: written by us, so that reading a part of one is quick, and safe in a web process."""

from __future__ import annotations

from typing import ClassVar

from django.db import models

from portal.intake.models import SourceFile
from portal.making import MadeByWorker


class PlayCopy(MadeByWorker):
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

    class Meta:
        ordering: ClassVar = ["pk"]

    def __str__(self) -> str:
        return f"copy of {self.source}"

    def finish(self, *, key: str, sample_rate_hz: int, channels: int, frames: int) -> None:
        self.state, self.key, self.trouble = self.State.MADE, key, ""
        self.sample_rate_hz, self.channels, self.frames = sample_rate_hz, channels, frames
        self.save(update_fields=["state", "key", "trouble", "sample_rate_hz", "channels", "frames"])
