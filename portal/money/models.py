"""What was offered, what was agreed, what was paid. Amounts are whole numbers of the currency's smallest unit."""

from __future__ import annotations

from datetime import date
from decimal import ROUND_HALF_UP, Decimal
from typing import ClassVar

from django.core.validators import MinValueValidator
from django.db import models
from django.utils import timezone

from portal.bookings.models import Booking, Song
from portal.money.currencies import in_words
from portal.people.models import User

SMALLEST_QUANTITY = Decimal("0.01")


class QuoteQuerySet(models.QuerySet["Quote"]):
    def visible_to(self, user: User) -> QuoteQuerySet:
        if user.is_drummer:
            return self
        return self.filter(booking__members__user=user).exclude(state=Quote.State.DRAFT)


class Quote(models.Model):
    """DRAFT → SENT → ACCEPTED or DECLINED. Only a draft may change.

    A version that is sent makes an older one REPLACED; what was accepted stands until a newer one is accepted. What is
    out when the booking is cancelled is WITHDRAWN.
    """

    class State(models.TextChoices):
        DRAFT = "draft", "draft"
        SENT = "sent", "sent"
        ACCEPTED = "accepted", "accepted"
        DECLINED = "declined", "declined"
        REPLACED = "replaced", "replaced"
        WITHDRAWN = "withdrawn", "withdrawn"

    booking = models.ForeignKey(Booking, on_delete=models.CASCADE, related_name="quotes")
    version = models.PositiveSmallIntegerField()
    state = models.CharField(max_length=9, choices=State.choices, default=State.DRAFT)
    currency = models.CharField(max_length=3)
    deposit_percent = models.PositiveSmallIntegerField(default=50)
    balance_before_files = models.BooleanField(default=True)
    rounds_included = models.PositiveSmallIntegerField(default=2)
    # What a round beyond those costs or means, in the drummer's words.
    further_rounds = models.CharField(max_length=200, blank=True)
    due_on = models.DateField(null=True, blank=True)
    valid_until = models.DateField(null=True, blank=True)
    terms = models.TextField(blank=True, max_length=8000)
    sent_at = models.DateTimeField(null=True, blank=True)
    decided_at = models.DateTimeField(null=True, blank=True)
    decided_by = models.ForeignKey(User, null=True, blank=True, on_delete=models.SET_NULL, related_name="+")
    # The words the client agreed to, as they stood: what was accepted can be shown a year later.
    accepted_text = models.TextField(blank=True)

    objects: ClassVar[QuoteQuerySet] = QuoteQuerySet.as_manager()  # type: ignore[assignment]

    class Meta:
        ordering: ClassVar = ["-version"]
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["booking", "version"], name="money_quote_version"),
            models.CheckConstraint(condition=models.Q(deposit_percent__lte=100), name="money_quote_deposit"),
        ]

    def __str__(self) -> str:
        return f"quote {self.version} for {self.booking}"

    @property
    def total_minor(self) -> int:
        return sum(line.amount_minor for line in self.lines.all())

    @property
    def deposit_minor(self) -> int:
        """Half a smallest unit goes to the deposit; the balance is the rest, so that the parts sum to the whole."""
        return (self.total_minor * self.deposit_percent * 2 + 100) // 200

    @property
    def balance_minor(self) -> int:
        return self.total_minor - self.deposit_minor

    def is_expired(self, today: date) -> bool:
        """The last valid day counts in full, by the calendar of the house."""
        return self.valid_until is not None and today > self.valid_until

    def send(self) -> None:
        self.state, self.sent_at = self.State.SENT, timezone.now()
        self.save(update_fields=["state", "sent_at"])

    def decide(self, state: State, *, by: User, text: str = "") -> None:
        self.state, self.decided_at, self.decided_by, self.accepted_text = state, timezone.now(), by, text
        self.save(update_fields=["state", "decided_at", "decided_by", "accepted_text"])


class QuoteLine(models.Model):
    """One thing that is offered. Each line is rounded by itself, so that the total is the sum of the lines as shown.

    `song` is the one song that a line is for, if there is one. A draft is not sent while a price is asked for: the
    songs of the booking have changed, and nobody has looked at the line since.
    """

    quote = models.ForeignKey(Quote, on_delete=models.CASCADE, related_name="lines")
    position = models.PositiveSmallIntegerField()
    text = models.CharField(max_length=200)
    quantity = models.DecimalField(
        max_digits=7, decimal_places=2, default=1, validators=[MinValueValidator(SMALLEST_QUANTITY)]
    )
    unit_price_minor = models.PositiveBigIntegerField()
    song = models.ForeignKey(Song, null=True, blank=True, on_delete=models.SET_NULL, related_name="+")
    price_asked = models.BooleanField(default=False)

    class Meta:
        ordering: ClassVar = ["position"]

    def __str__(self) -> str:
        return self.text

    @property
    def amount_minor(self) -> int:
        return int((self.quantity * self.unit_price_minor).quantize(Decimal(1), rounding=ROUND_HALF_UP))


class PaymentQuerySet(models.QuerySet["Payment"]):
    def standing(self) -> PaymentQuerySet:
        return self.filter(taken_back_at=None)


class Payment(models.Model):
    """Money that came in, as the drummer recorded it: STANDING → TAKEN BACK, with who, when and why. Never deleted."""

    class Kind(models.TextChoices):
        DEPOSIT = "deposit", "deposit"
        BALANCE = "balance", "balance"

    booking = models.ForeignKey(Booking, on_delete=models.CASCADE, related_name="payments")
    kind = models.CharField(max_length=7, choices=Kind.choices)
    amount_minor = models.PositiveBigIntegerField()
    currency = models.CharField(max_length=3)
    received_on = models.DateField()
    recorded_by = models.ForeignKey(User, on_delete=models.PROTECT, related_name="+")
    recorded_at = models.DateTimeField(default=timezone.now)
    note = models.CharField(max_length=200, blank=True)
    taken_back_at = models.DateTimeField(null=True, blank=True)
    taken_back_by = models.ForeignKey(User, null=True, blank=True, on_delete=models.PROTECT, related_name="+")
    taken_back_why = models.CharField(max_length=200, blank=True)

    objects: ClassVar[PaymentQuerySet] = PaymentQuerySet.as_manager()  # type: ignore[assignment]

    class Meta:
        ordering: ClassVar = ["received_on", "pk"]
        constraints: ClassVar = [
            models.UniqueConstraint(
                fields=["booking", "kind"],
                condition=models.Q(taken_back_at=None),
                name="money_one_standing_payment_of_a_kind",
            )
        ]

    def __str__(self) -> str:
        return f"{self.kind} for {self.booking}"

    @property
    def amount_in_words(self) -> str:
        return in_words(self.amount_minor, self.currency)

    def take_back(self, *, by: User, why: str) -> None:
        self.taken_back_at, self.taken_back_by, self.taken_back_why = timezone.now(), by, why
        self.save(update_fields=["taken_back_at", "taken_back_by", "taken_back_why"])
