"""What is known of files that are still to come: who has some to send, and since when none came or left."""

from __future__ import annotations

from datetime import datetime
from typing import ClassVar

from django.db import models
from django.utils import timezone

from portal.bookings.models import Song
from portal.people.models import User

TAB_LENGTH = 40


class AnnouncementQuerySet(models.QuerySet["Announcement"]):
    def living(self) -> AnnouncementQuerySet:
        return self.filter(expires_at__gt=timezone.now())

    def expired(self) -> AnnouncementQuerySet:
        return self.filter(expires_at__lte=timezone.now())


class Announcement(models.Model):
    """A browser tab says how many files it still has to send for a song. It says so again and again: a tab that is
    gone says nothing more, and its row expires."""

    song = models.ForeignKey(Song, on_delete=models.CASCADE, related_name="announcements")
    by = models.ForeignKey(User, on_delete=models.CASCADE, related_name="+")
    tab = models.CharField(max_length=TAB_LENGTH)
    files = models.PositiveIntegerField()
    expires_at = models.DateTimeField()

    objects: ClassVar[AnnouncementQuerySet] = AnnouncementQuerySet.as_manager()  # type: ignore[assignment]

    class Meta:
        ordering: ClassVar = ["pk"]
        constraints: ClassVar = [models.UniqueConstraint(fields=["song", "by", "tab"], name="intake_one_word_a_tab")]
        indexes: ClassVar = [models.Index(fields=["expires_at"], name="intake_announcement_expires")]

    def __str__(self) -> str:
        return f"{self.files} files to come"


class FileCourse(models.Model):
    """When a file of the song last came or left after its last check, and whether somebody said that these are all."""

    song = models.OneToOneField(Song, on_delete=models.CASCADE, related_name="file_course")
    last_change_at = models.DateTimeField(null=True, blank=True)
    all_sent_at = models.DateTimeField(null=True, blank=True)
    all_sent_by = models.ForeignKey(User, null=True, blank=True, on_delete=models.SET_NULL, related_name="+")

    def __str__(self) -> str:
        return f"files of {self.song}"

    @classmethod
    def of(cls, song: Song) -> FileCourse:
        return cls.objects.get_or_create(song=song)[0]

    def change(self, at: datetime) -> None:
        self.last_change_at = at
        self.save(update_fields=["last_change_at"])

    def say_all_sent(self, by: User) -> bool:
        """Whether this said it: of two who press at once, on any database, one did."""
        said = {"all_sent_at": timezone.now(), "all_sent_by": by}
        is_first = bool(FileCourse.objects.filter(pk=self.pk, all_sent_at=None).update(**said))
        self.refresh_from_db(fields=list(said))
        return is_first

    def begin_anew(self) -> None:
        """More is coming: it is waited for as usual."""
        self.all_sent_at, self.all_sent_by = None, None
        self.save(update_fields=["all_sent_at", "all_sent_by"])

    def take(self) -> None:
        """A check took what was there. Until a file comes or leaves, the next check waits for no quiet time."""
        self.last_change_at = self.all_sent_at = self.all_sent_by = None
        self.save(update_fields=["last_change_at", "all_sent_at", "all_sent_by"])
