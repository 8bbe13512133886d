"""Files made from an approved tempo map and the client's files, for the drummer's own session."""

from __future__ import annotations

from typing import Any, ClassVar

from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.utils import timezone

from analysis.maps import DEFAULT_PEAK_DBFS
from analysis.session import DEFAULT_TEMPLATE
from portal.bookings.models import Song
from portal.intake.models import ApprovedMap
from portal.making import MadeByWorker
from portal.people.models import User

MOST_BARS = 64
MOST_START_BAR = 99


class Rate(models.IntegerChoices):
    """AES5 prefers 48 kHz and allows 44.1 and 96; 88.2 is common practice."""

    R44 = 44_100, "44.1 kHz"
    R48 = 48_000, "48 kHz"
    R88 = 88_200, "88.2 kHz"
    R96 = 96_000, "96 kHz"


class Depth(models.IntegerChoices):
    D16 = 16, "16 bit"
    D24 = 24, "24 bit"
    D32 = 32, "32 bit floating point"


class ClickSound(models.TextChoices):
    SINE = "sine", "sine"
    WOOD = "wood", "wood"
    TICK = "tick", "tick"
    SQUARE = "square", "square"


class Subdivision(models.TextChoices):
    BEAT = "beat", "the beats of the meter"
    QUARTER = "quarter", "quarters"
    EIGHTH = "eighth", "eighths"
    TRIPLET = "triplet", "triplets"
    SIXTEENTH = "sixteenth", "sixteenths"


BARS = [MinValueValidator(1), MaxValueValidator(MOST_BARS)]


class HousePrep(models.Model):
    """What the house wants of clicks and session packs: exactly one row, whose key is 1."""

    # None: as most of the song's files have it.
    sample_rate_hz = models.PositiveIntegerField(choices=Rate.choices, null=True, blank=True)
    bit_depth = models.PositiveSmallIntegerField(choices=Depth.choices, default=Depth.D24)
    # The session bar where bar one goes, after two bars of count-in (common practice).
    start_bar = models.PositiveSmallIntegerField(
        default=3, validators=[MinValueValidator(1), MaxValueValidator(MOST_START_BAR)]
    )
    count_in_bars = models.PositiveSmallIntegerField(default=2, validators=[MaxValueValidator(16)])
    clock_start_h = models.PositiveSmallIntegerField(default=0, validators=[MaxValueValidator(23)])
    name_template = models.CharField(max_length=100, default=DEFAULT_TEMPLATE)
    click_sound = models.CharField(max_length=6, choices=ClickSound.choices, default=ClickSound.SINE)
    subdivision = models.CharField(max_length=9, choices=Subdivision.choices, default=Subdivision.BEAT)
    click_peak_dbfs = models.SmallIntegerField(default=int(DEFAULT_PEAK_DBFS))
    keep_packs_days = models.PositiveSmallIntegerField(
        default=30, validators=[MinValueValidator(1), MaxValueValidator(365)]
    )

    class Meta:
        constraints: ClassVar = [models.CheckConstraint(condition=models.Q(pk=1), name="prep_one_house")]

    def __str__(self) -> str:
        return "clicks and session packs"

    @classmethod
    def get(cls) -> HousePrep:
        return cls.objects.get_or_create(pk=1)[0]


class SongPrep(models.Model):
    """What one song has otherwise than the house; empty is as the house has it."""

    song = models.OneToOneField(Song, on_delete=models.CASCADE, related_name="prep")
    sample_rate_hz = models.PositiveIntegerField(choices=Rate.choices, null=True, blank=True)
    bit_depth = models.PositiveSmallIntegerField(choices=Depth.choices, null=True, blank=True)
    start_bar = models.PositiveSmallIntegerField(
        null=True, blank=True, validators=[MinValueValidator(1), MaxValueValidator(MOST_START_BAR)]
    )
    click_sound = models.CharField(max_length=6, choices=ClickSound.choices, blank=True)
    subdivision = models.CharField(max_length=9, choices=Subdivision.choices, blank=True)
    bars_on = models.PositiveSmallIntegerField(default=1, validators=BARS)
    bars_off = models.PositiveSmallIntegerField(default=0, validators=[MaxValueValidator(MOST_BARS)])

    def __str__(self) -> str:
        return f"choices for {self.song}"


class PreparedFileQuerySet(models.QuerySet["PreparedFile"]):
    def visible_to(self, user: User) -> PreparedFileQuerySet:
        return self if user.is_drummer else self.filter(approved_map__song__booking__members__user=user)


class PreparedFile(models.Model):
    """A click or tempo-map file made from one approved map. Made again it is the same file.

    `facts` says how: bars, count-in, sample rate, peak, and by how much the click starts before the client's files.
    """

    class Kind(models.TextChoices):
        CLICK = "click", "click with its count-in"
        WITH_FILES = "with-files", "click that starts with the client’s files"
        TEMPO_MAP = "tempo-map", "tempo map (MIDI)"

    approved_map = models.ForeignKey(ApprovedMap, on_delete=models.CASCADE, related_name="prepared")
    kind = models.CharField(max_length=10, choices=Kind.choices)
    name = models.CharField(max_length=255)
    key = models.CharField(max_length=160)
    size_bytes = models.PositiveBigIntegerField()
    facts = models.JSONField(default=dict, blank=True)
    made_at = models.DateTimeField(default=timezone.now)

    objects: ClassVar[PreparedFileQuerySet] = PreparedFileQuerySet.as_manager()  # type: ignore[assignment]

    class Meta:
        ordering: ClassVar = ["kind"]
        constraints: ClassVar = [models.UniqueConstraint(fields=["approved_map", "kind"], name="prep_one_of_a_kind")]

    def __str__(self) -> str:
        return self.name


class SessionPackQuerySet(models.QuerySet["SessionPack"]):
    def visible_to(self, user: User) -> SessionPackQuerySet:
        """The drummer's alone."""
        return self if user.is_drummer else self.none()


class SessionPack(MadeByWorker):
    """A song's session pack: MAKING → MADE, or FAILED (`trouble` says why). Cleared away it is CLEARED.

    `fingerprint` names its inputs: pressed twice it is made once. `members` are its stored files by their name in the
    pack, those done so far while it is being made: a worker that takes over goes on with the next.
    """

    class State(models.TextChoices):
        MAKING = "making", "being made"
        MADE = "made", "made"
        FAILED = "failed", "could not be made"
        CLEARED = "cleared", "cleared away"

    song = models.ForeignKey(Song, on_delete=models.CASCADE, related_name="packs")
    approved_map = models.ForeignKey(ApprovedMap, on_delete=models.CASCADE, related_name="+")
    fingerprint = models.CharField(max_length=64)
    settings: models.JSONField[Any, Any] = models.JSONField()
    sources: models.JSONField[Any, Any] = models.JSONField(default=list)
    state = models.CharField(max_length=7, choices=State.choices, default=State.MAKING)
    timeline: models.JSONField[Any, Any] = models.JSONField(null=True, blank=True)
    members: models.JSONField[Any, Any] = models.JSONField(default=dict, blank=True)
    left_out: models.JSONField[Any, Any] = models.JSONField(default=list, blank=True)
    files_total = models.PositiveSmallIntegerField(default=0)
    files_done = models.PositiveSmallIntegerField(default=0)
    asked_by = models.ForeignKey(User, on_delete=models.PROTECT, related_name="+")
    asked_at = models.DateTimeField(default=timezone.now)
    made_at = models.DateTimeField(null=True, blank=True)
    cleared_at = models.DateTimeField(null=True, blank=True)

    objects: ClassVar[SessionPackQuerySet] = SessionPackQuerySet.as_manager()  # type: ignore[assignment]

    class Meta:
        ordering: ClassVar = ["-pk"]
        constraints: ClassVar = [
            models.UniqueConstraint(
                fields=["song", "fingerprint"],
                condition=models.Q(state__in=["making", "made"]),
                name="prep_pack_once_per_input",
            )
        ]

    def __str__(self) -> str:
        return f"session pack {self.pk}"

    @property
    def size_bytes(self) -> int:
        return sum(int(member["size_bytes"]) for member in self.members.values())

    def lay_out(self, timeline: dict[str, Any]) -> None:
        self.timeline = timeline
        self.save(update_fields=["timeline"])

    def add(self, name: str, member: dict[str, Any]) -> None:
        self.members[name] = member
        self._count()

    def leave_out(self, name: str, why: str, *, sha256: str) -> None:
        self.left_out.append([name, why, sha256])
        self._count()

    def _count(self) -> None:
        self.files_done, self.tries = self.files_done + 1, 0
        self.save(update_fields=["members", "left_out", "files_done", "tries"])

    def finish(self, papers: dict[str, dict[str, Any]]) -> None:
        self.members |= papers
        self.state, self.made_at = self.State.MADE, timezone.now()
        self.save(update_fields=["members", "state", "made_at"])

    def clear(self) -> None:
        self.state = self.State.CLEARED if self.state == self.State.MADE else self.state
        self.members, self.cleared_at = {}, timezone.now()
        self.save(update_fields=["state", "members", "cleared_at"])
