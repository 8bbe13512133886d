"""Rough mixes of the take, and the client's word on each."""

from __future__ import annotations

from typing import Any, ClassVar

from django.db import models
from django.utils import timezone

from portal.bookings.models import Song
from portal.clean_text import clean_deep
from portal.folding import FoldedField, SearchedModel, SearchedQuerySet
from portal.kit.models import TakeLog
from portal.people.models import User


class RoughMixQuerySet(SearchedQuerySet["RoughMix"]):
    def visible_to(self, user: User) -> RoughMixQuerySet:
        if user.is_drummer:
            return self
        return self.filter(song__booking__members__user=user).exclude(state__in=RoughMix.NOT_YET_OUT)


class RoughMix(SearchedModel):
    """RECEIVED → READY (surveyed, and a copy made that any browser plays) or REFUSED; READY → OUT (the client may hear
    it) → ACCEPTED or CHANGE_ASKED. Each change that is asked for is one round.

    `begins_at_s` is where its first frame lies in the time of the client's files and of the tempo map: negative where
    the session begins before them. It is as stated (`begins`) until it was found by the sound (`portal.takes.placing`).
    """

    class State(models.TextChoices):
        RECEIVED = "received", "received"
        REFUSED = "refused", "refused"
        READY = "ready", "ready to send"
        OUT = "out", "out for review"
        ACCEPTED = "accepted", "accepted"
        CHANGE_ASKED = "change-asked", "change asked for"

    class Holds(models.TextChoices):
        MIX = "mix", "drums and music together"
        DRUMS = "drums", "the drums alone"

    class Begins(models.TextChoices):
        FILES = "files", "where the client’s files begin"
        SESSION = "session", "where the session pack begins"

    NOT_YET_OUT = (State.RECEIVED, State.REFUSED, State.READY)
    HEARD = (State.OUT, State.ACCEPTED, State.CHANGE_ASKED)

    song = models.ForeignKey(Song, on_delete=models.CASCADE, related_name="rough_mixes")
    number = models.PositiveSmallIntegerField()
    take = models.ForeignKey(TakeLog, null=True, blank=True, on_delete=models.SET_NULL, related_name="rough_mixes")
    holds = models.CharField(max_length=5, choices=Holds.choices, default=Holds.MIX)
    begins = models.CharField(max_length=7, choices=Begins.choices, default=Begins.FILES)
    begins_at_s = models.FloatField(default=0.0)
    sent_by = models.ForeignKey(User, on_delete=models.PROTECT, related_name="+")
    name = models.CharField(max_length=255)
    folded = FoldedField(of=["name"])
    sha256 = models.CharField(max_length=64)
    key = models.CharField(max_length=120)
    size_bytes = models.PositiveBigIntegerField()
    state = models.CharField(max_length=12, choices=State.choices, default=State.RECEIVED)
    refusal = models.CharField(max_length=300, blank=True)
    report = models.JSONField(null=True, blank=True)
    # Where it lies in the song, and its feel (`analysis.handover.TakePlace`); `placed_by` names what it was found with.
    place: models.JSONField[dict[str, Any] | None, dict[str, Any] | None] = models.JSONField(null=True, blank=True)
    placed_by = models.CharField(max_length=64, blank=True)
    place_tries = models.PositiveSmallIntegerField(default=0)
    proxy_key = models.CharField(max_length=160, blank=True)
    note = models.TextField(blank=True, max_length=4000)
    received_at = models.DateTimeField(default=timezone.now)
    out_at = models.DateTimeField(null=True, blank=True)
    decided_by = models.ForeignKey(User, null=True, blank=True, on_delete=models.SET_NULL, related_name="+")
    decided_at = models.DateTimeField(null=True, blank=True)
    client_note = models.TextField(blank=True, max_length=4000)
    # Of a change that was asked for: which round it began, and how many the quote included then (None: not stated).
    round_number = models.PositiveSmallIntegerField(null=True, blank=True)
    rounds_included = models.PositiveSmallIntegerField(null=True, blank=True)

    # The approved map in the mix's own time, by which a player counts bars; a page puts it there.
    map_json = ""

    objects: ClassVar[RoughMixQuerySet] = RoughMixQuerySet.as_manager()  # type: ignore[assignment]

    class Meta:
        ordering: ClassVar = ["-number"]
        constraints: ClassVar = [models.UniqueConstraint(fields=["song", "number"], name="takes_rough_mix_number")]

    def __str__(self) -> str:
        return f"rough mix {self.number} of {self.song}"

    @property
    def is_placed_by_sound(self) -> bool:
        return self.place is not None and self.place.get("found_by") == "sound"

    @property
    def in_words(self) -> str:
        """With the take it is of, where that is known: "rough mix 2 of take 5"."""
        return f"rough mix {self.number} of take {self.take.number}" if self.take else f"rough mix {self.number}"

    @property
    def is_further_round(self) -> bool:
        """Whether its change was asked for beyond what the quote included."""
        number, included = self.round_number, self.rounds_included
        return number is not None and included is not None and number > included

    @property
    def can_be_decided(self) -> bool:
        """Only the newest that is out: an answer to an older one would be about a take that is gone."""
        return (
            self.state == self.State.OUT
            and not self.song.booking.is_over
            and not self.song.rough_mixes.filter(number__gt=self.number, state__in=self.HEARD).exists()
        )

    def make_ready(self, *, report: dict[str, Any], proxy_key: str) -> None:
        self.state, self.report, self.proxy_key = self.State.READY, clean_deep(report), proxy_key
        self.save(update_fields=["state", "report", "proxy_key"])

    def refuse(self, *, reason: str) -> None:
        self.state, self.refusal = self.State.REFUSED, reason
        self.save(update_fields=["state", "refusal"])

    def describe(self, *, take: TakeLog | None, holds: str, begins: str, begins_at_s: float) -> None:
        self.take, self.holds, self.begins, self.begins_at_s = take, holds, begins, begins_at_s
        self.save(update_fields=["take", "holds", "begins", "begins_at_s"])

    def begin_placing(self) -> None:
        self.place_tries += 1
        self.save(update_fields=["place_tries"])

    def put_in_place(self, place: dict[str, Any], *, begins_at_s: float, by: str) -> None:
        self.place, self.begins_at_s, self.placed_by, self.place_tries = place, begins_at_s, by, 0
        self.save(update_fields=["place", "begins_at_s", "placed_by", "place_tries"])

    def begin_round(self, *, number: int, included: int | None) -> None:
        self.round_number, self.rounds_included = number, included
        self.save(update_fields=["round_number", "rounds_included"])

    def go_out(self, *, note: str) -> None:
        self.state, self.note, self.out_at = self.State.OUT, note, timezone.now()
        self.save(update_fields=["state", "note", "out_at"])

    def decide(self, state: State, *, by: User, note: str) -> None:
        self.state, self.decided_by, self.decided_at, self.client_note = state, by, timezone.now(), note
        self.save(update_fields=["state", "decided_by", "decided_at", "client_note"])
