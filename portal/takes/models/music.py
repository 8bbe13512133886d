"""The client's own music as one sound, to lay a take over."""

from __future__ import annotations

from typing import ClassVar

from django.db import models
from django.utils import timezone

from portal.bookings.models import Song
from portal.making import MadeByWorker

MOST_CHANNELS = 2


class MusicCopy(MadeByWorker):
    """The sum of a song's music, without clicks and guide drums: MAKING → MADE, or FAILED (`trouble` says why).

    `fingerprint` names the files it is made of: other files make it anew.
    """

    class State(models.TextChoices):
        MAKING = "making", "being made"
        MADE = "made", "made"
        FAILED = "failed", "could not be made"

    song = models.OneToOneField(Song, on_delete=models.CASCADE, related_name="music_copy")
    fingerprint = models.CharField(max_length=64)
    names: models.JSONField[list[str], list[str]] = models.JSONField(default=list)
    state = models.CharField(max_length=6, choices=State.choices, default=State.MAKING)
    key = models.CharField(max_length=160, blank=True)
    sample_rate_hz = models.PositiveIntegerField(default=0)
    frames = models.PositiveBigIntegerField(default=0)
    loudness_lufs = models.FloatField(null=True, blank=True)

    class Meta:
        ordering: ClassVar = ["pk"]

    def __str__(self) -> str:
        return f"music of {self.song}"

    @property
    def channels(self) -> int:
        return MOST_CHANNELS

    def start_anew(self, *, fingerprint: str, names: list[str]) -> None:
        self.fingerprint, self.names, self.state, self.tries = fingerprint, names, self.State.MAKING, 0
        self.began_at = timezone.now()
        self.save(update_fields=["fingerprint", "names", "state", "tries", "began_at"])

    def finish(self, *, key: str, sample_rate_hz: int, frames: int, loudness_lufs: float | None) -> None:
        self.state, self.key, self.trouble = self.State.MADE, key, ""
        self.sample_rate_hz, self.frames, self.loudness_lufs = sample_rate_hz, frames, loudness_lufs
        self.save(update_fields=["state", "key", "trouble", "sample_rate_hz", "frames", "loudness_lufs"])
