"""One agreement with one client (a booking), the songs in it, and everything that happened (the timeline)."""

from __future__ import annotations

from decimal import Decimal
from typing import Any, ClassVar, Unpack

from django.core.validators import MaxValueValidator, MinValueValidator, RegexValidator
from django.db import models
from django.urls import reverse
from django.utils import timezone

from analysis.maps import NOTE_VALUES
from portal.bookings.stages import OVER_STAGES, BookingStage, QuoteState, SongStage, Turn, stage_in_words
from portal.bookings.turns import (
    WRITE_QUOTE,
    BookingFacts,
    BookingNotes,
    SongFacts,
    SongNotes,
    Wait,
    booking_wait,
    wait_of,
)
from portal.folding import FoldedField, SearchedModel, SearchedQuerySet
from portal.people.models import User

SLOWEST_BPM, FASTEST_BPM = Decimal(20), Decimal(400)
# As written; in the notes that a tempo map can count in.
METER = rf"([1-9]\d?)/({'|'.join(str(value) for value in NOTE_VALUES)})"


class BookingQuerySet(SearchedQuerySet["Booking"]):
    def visible_to(self, user: User) -> BookingQuerySet:
        return self if user.is_drummer else self.filter(members__user=user)


class Booking(SearchedModel):
    """One agreement: ENQUIRY → QUOTED → AGREED → WORKING → DELIVERED → CLOSED, or DECLINED, or CANCELLED.

    The money facts that gate the work are kept here as plain facts; quotes and payments set them. `turn` and
    `waits_for` are what `turns.booking_wait` makes of them.
    """

    title = models.CharField(max_length=120)
    folded = FoldedField(of=["title"])
    stage = models.CharField(max_length=10, choices=BookingStage.choices, default=BookingStage.ENQUIRY)
    turn = models.CharField(max_length=8, choices=Turn.choices, default=Turn.DRUMMER)
    waits_for = models.CharField(max_length=20, default=WRITE_QUOTE.code)
    turn_since = models.DateTimeField(default=timezone.now)
    due_on = models.DateField(null=True, blank=True)
    # A later due date that waits for the client's word.
    due_proposed_on = models.DateField(null=True, blank=True)
    due_zone = models.CharField(max_length=60, default="UTC")
    created_by = models.ForeignKey(User, on_delete=models.PROTECT, related_name="+")
    created_at = models.DateTimeField(default=timezone.now)
    deposit_required = models.BooleanField(default=False)
    deposit_received_at = models.DateTimeField(null=True, blank=True)
    balance_before_files = models.BooleanField(default=False)
    balance_received_at = models.DateTimeField(null=True, blank=True)
    quote_state = models.CharField(max_length=8, choices=QuoteState.choices, default=QuoteState.NONE)
    agreed_once = models.BooleanField(default=False)

    objects: ClassVar[BookingQuerySet] = BookingQuerySet.as_manager()  # type: ignore[assignment]

    class Meta:
        ordering: ClassVar = ["-created_at", "-pk"]

    def __str__(self) -> str:
        return self.title

    def get_absolute_url(self) -> str:
        return reverse("bookings:booking", args=[self.pk])

    @property
    def is_over(self) -> bool:
        return self.stage in OVER_STAGES

    @property
    def deposit_is_missing(self) -> bool:
        return self.deposit_required and self.deposit_received_at is None

    @property
    def files_wait_for_balance(self) -> bool:
        return self.balance_before_files and self.balance_received_at is None

    def move_to(self, stage: BookingStage) -> None:
        self.stage = stage
        self.save(update_fields=["stage"])

    def note(self, **facts: Unpack[BookingNotes]) -> None:
        _note(self, facts)

    def pass_turn(self) -> None:
        """By what its songs wait for, as they are stored."""
        songs = [Wait(Turn(turn), code) for turn, code in self.songs.values_list("turn", "waits_for")]
        _pass_turn(self, booking_wait(BookingFacts(self.stage, self.quote_state, self.agreed_once), songs))


class Member(models.Model):
    """A client's access to a booking."""

    booking = models.ForeignKey(Booking, on_delete=models.CASCADE, related_name="members")
    user = models.ForeignKey(User, on_delete=models.CASCADE, related_name="memberships")
    added_at = models.DateTimeField(default=timezone.now)
    # When they first heard of the booking: by an e-mail of ours, or because they did something in it.
    told_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        constraints: ClassVar = [models.UniqueConstraint(fields=["booking", "user"], name="bookings_one_seat_each")]

    def __str__(self) -> str:
        return f"{self.user} at {self.booking}"


class SongQuerySet(SearchedQuerySet["Song"]):
    def visible_to(self, user: User) -> SongQuerySet:
        return self if user.is_drummer else self.filter(booking__members__user=user)


class Song(SearchedModel):
    """WAITING → CHECKING → WITH_CLIENT or ON_DESK → READY → TRACKING → IN_REVIEW → DELIVERED → ACCEPTED.

    What decides whose turn it is stands here as plain facts; the apps above set them through `services.note_song`.
    `turn` and `waits_for` are what `turns.wait_of` makes of them.
    """

    booking = models.ForeignKey(Booking, on_delete=models.CASCADE, related_name="songs")
    title = models.CharField(max_length=120)
    folded = FoldedField(of=["title"])
    position = models.PositiveSmallIntegerField()
    stage = models.CharField(max_length=12, choices=SongStage.choices, default=SongStage.WAITING)
    # Of a song that was taken out: the stage that it goes back to.
    taken_out_of = models.CharField(max_length=12, choices=SongStage.choices, blank=True)
    turn = models.CharField(max_length=8, choices=Turn.choices, default=Turn.DRUMMER)
    waits_for = models.CharField(max_length=20, default=WRITE_QUOTE.code)
    turn_since = models.DateTimeField(default=timezone.now)
    has_files = models.BooleanField(default=False)
    # A question of ours waits for the client's answer; or was answered with the promise of a file.
    question_open = models.BooleanField(default=False)
    file_promised = models.BooleanField(default=False)
    # The client was sent some bars to listen to, and has not said whether they are right.
    listening_open = models.BooleanField(default=False)
    # The newest map is of the newest check, and nobody objects to it.
    map_approved = models.BooleanField(default=False)
    # A finding that blocks the song is open.
    stop_open = models.BooleanField(default=False)
    # A message to the client is held for the drummer.
    draft_held = models.BooleanField(default=False)
    mix_accepted = models.BooleanField(default=False)
    change_requested = models.BooleanField(default=False)
    # A set of a delivery is being checked; or a corrected one is being made.
    set_checking = models.BooleanField(default=False)
    set_correcting = models.BooleanField(default=False)
    # The checks of a set found what nobody waived.
    set_failed = models.BooleanField(default=False)

    objects: ClassVar[SongQuerySet] = SongQuerySet.as_manager()  # type: ignore[assignment]

    class Meta:
        ordering: ClassVar = ["booking", "position"]
        constraints: ClassVar = [models.UniqueConstraint(fields=["booking", "position"], name="bookings_song_position")]

    def __str__(self) -> str:
        return self.title

    def get_absolute_url(self) -> str:
        return reverse("bookings:song", args=[self.pk])

    def get_stage_display(self) -> str:  # type: ignore[no-redef]  # a song in review has two words
        return stage_in_words(self.stage, for_client=False, mix_accepted=self.mix_accepted)

    def move_to(self, stage: SongStage) -> None:
        self.stage = stage
        self.save(update_fields=["stage"])

    def leave(self) -> None:
        self.stage, self.taken_out_of = SongStage.TAKEN_OUT, self.stage
        self.save(update_fields=["stage", "taken_out_of"])

    def come_back(self) -> None:
        self.stage, self.taken_out_of = SongStage(self.taken_out_of), ""
        self.save(update_fields=["stage", "taken_out_of"])

    def note(self, **facts: Unpack[SongNotes]) -> None:
        _note(self, facts)

    def pass_turn(self) -> None:
        _pass_turn(self, wait_of(self.facts))

    @property
    def facts(self) -> SongFacts:
        booking, brief = self.booking, getattr(self, "brief", None)
        return SongFacts(
            booking_stage=booking.stage,
            quote_state=booking.quote_state,
            deposit_missing=booking.deposit_is_missing,
            balance_missing=booking.files_wait_for_balance,
            stage=self.stage,
            brief_written=brief is not None and brief.is_written,
            **{name: getattr(self, name) for name in SongNotes.__annotations__},
        )


def _note(row: Booking | Song, facts: BookingNotes | SongNotes) -> None:
    notes = BookingNotes if isinstance(row, Booking) else SongNotes
    if unknown := set(facts) - set(notes.__annotations__):
        raise TypeError(f"no such fact: {', '.join(sorted(unknown))}")
    for name, value in facts.items():
        setattr(row, name, value)
    if facts:
        row.save(update_fields=list(facts))


def _pass_turn(row: Booking | Song, wait: Wait) -> None:
    """The date stays as long as the same person is waited for, for the same thing."""
    if (row.turn, row.waits_for) != wait:
        row.turn, row.waits_for, row.turn_since = wait.who, wait.code, timezone.now()
        row.save(update_fields=["turn", "waits_for", "turn_since"])


class Brief(models.Model):
    """What the client says about one song. Evidence beside the measurements, never an order to them."""

    class Starts(models.TextChoices):
        UNKNOWN = "unknown", "I don’t know"
        BAR_ONE = "bar-one", "exactly on bar one"
        COUNT_IN = "count-in", "with a count-in"
        PICKUP = "pickup", "with a pickup before bar one"
        LATER = "later", "some time before bar one"

    class Clicks(models.TextChoices):
        UNSAID = "unsaid", "not stated"
        SENT = "sent", "I am sending a click"
        MAKE_MAP = "make-map", "there is none: please make a tempo map"

    song = models.OneToOneField(Song, on_delete=models.CASCADE, related_name="brief")
    bpm = models.DecimalField(
        max_digits=9,
        decimal_places=5,
        null=True,
        blank=True,
        validators=[MinValueValidator(SLOWEST_BPM), MaxValueValidator(FASTEST_BPM)],
    )
    meter = models.CharField(max_length=7, blank=True, validators=[RegexValidator(f"^{METER}$")])
    feel = models.CharField(max_length=200, blank=True)
    starts = models.CharField(max_length=8, choices=Starts.choices, default=Starts.UNKNOWN)
    count_in_bars = models.PositiveSmallIntegerField(null=True, blank=True, validators=[MaxValueValidator(16)])
    click = models.CharField(max_length=8, choices=Clicks.choices, default=Clicks.UNSAID)
    references = models.TextField(blank=True, max_length=4000)
    notes = models.TextField(blank=True, max_length=8000)
    updated_at = models.DateTimeField(null=True, blank=True)
    updated_by = models.ForeignKey(User, null=True, blank=True, on_delete=models.SET_NULL, related_name="+")

    class Meta:
        constraints: ClassVar = [
            models.CheckConstraint(
                condition=models.Q(bpm=None) | models.Q(bpm__gte=SLOWEST_BPM, bpm__lte=FASTEST_BPM),
                name="bookings_brief_bpm_playable",
            )
        ]

    def __str__(self) -> str:
        return f"brief of {self.song}"

    @property
    def is_written(self) -> bool:
        return self.updated_at is not None


class TimelineEntry(models.Model):
    """One thing that happened. Written once: never changed, never removed while its booking stands."""

    booking = models.ForeignKey(Booking, on_delete=models.CASCADE, related_name="timeline")
    song = models.ForeignKey(Song, null=True, blank=True, on_delete=models.CASCADE, related_name="timeline")
    at = models.DateTimeField(default=timezone.now)
    actor = models.ForeignKey(User, null=True, blank=True, on_delete=models.SET_NULL, related_name="+")
    text = models.CharField(max_length=300)

    class Meta:
        ordering: ClassVar = ["at", "pk"]
        indexes: ClassVar = [models.Index(fields=["booking", "at"], name="bookings_timeline_order")]

    def __str__(self) -> str:
        return self.text

    def save(self, *args: Any, **kwargs: Any) -> None:
        if not self._state.adding:
            raise TypeError("a timeline entry is written once")
        super().save(*args, **kwargs)

    def delete(self, *args: Any, **kwargs: Any) -> tuple[int, dict[str, int]]:  # noqa: ARG002
        raise TypeError("a timeline entry stays")

    @property
    def who(self) -> str:
        """Whoever did it; what the house does by itself has no name."""
        return "" if self.actor is None else self.actor.name
