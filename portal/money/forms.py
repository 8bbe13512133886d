"""What is typed about money. Amounts are typed as people write them, and shown back rounded to the currency's unit."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

from django import forms
from django.http import QueryDict
from django.utils import timezone

from portal.bookings.models import Booking
from portal.bookings.stages import SongStage
from portal.money.amounts import AmountError, read_amount, write_amount
from portal.money.currencies import MINOR_DIGITS, to_decimal
from portal.money.models import SMALLEST_QUANTITY, Payment, Quote, QuoteLine
from portal.money.services import Conditions, Line
from portal.people.models import House

MOST_LINES = 60
DECIMALS = 6  # of a price as typed; it is rounded to the currency's smallest unit when it is stored
EMPTY_LINES = 3
HIGHEST_PRICE = Decimal(1_000_000_000)


class DayInput(forms.DateInput):
    input_type = "date"

    def __init__(self) -> None:
        super().__init__(format="%Y-%m-%d")


class AmountField(forms.DecimalField):
    """An amount as people of any country type it. What can be read in two ways is asked about, never guessed."""

    widget = forms.TextInput

    def to_python(self, value: Any) -> Decimal | None:  # type: ignore[override]  # the stubs know DecimalField as whole
        if value in self.empty_values:
            return None
        try:
            return read_amount(str(value))
        except AmountError as error:
            raise forms.ValidationError(str(error)) from error

    def prepare_value(self, value: Any) -> Any:
        return write_amount(value) if isinstance(value, Decimal) else value

    def widget_attrs(self, widget: forms.Widget) -> dict[str, Any]:
        return super().widget_attrs(widget) | {"inputmode": "decimal", "autocomplete": "off", "class": "short"}


class QuoteForm(forms.ModelForm[Quote]):
    """A quote's conditions."""

    class Meta:
        model = Quote
        fields = (
            "currency",
            "deposit_percent",
            "balance_before_files",
            "rounds_included",
            "further_rounds",
            "due_on",
            "valid_until",
            "terms",
        )
        labels = {
            "deposit_percent": "Deposit in per cent",
            "balance_before_files": "Full files are released when the balance is recorded",
            "rounds_included": "Rounds of changes included",
            "further_rounds": "A further round of changes",
            "due_on": "Due date",
            "valid_until": "Valid until",
        }
        help_texts = {
            "currency": "Three letters (ISO 4217).",
            "deposit_percent": "0: no deposit.",
            "rounds_included": "Counted for each song. A new tempo or form counts as new work.",
            "further_rounds": "What it costs or means. Shown to the client before they ask for one.",
            "due_on": "The date the client needs everything.",
            "valid_until": "Up to and including this date.",
            "terms": "In your own words: rights, credit, changes of plan, how long files are kept.",
        }
        widgets = {"terms": forms.Textarea(attrs={"rows": 6}), "due_on": DayInput(), "valid_until": DayInput()}

    @property
    def conditions(self) -> Conditions:
        return Conditions(**{name: self.cleaned_data[name] for name in self.Meta.fields})

    def clean_currency(self) -> str:
        code = str(self.cleaned_data["currency"]).upper()
        if code not in MINOR_DIGITS:
            raise forms.ValidationError(f"“{code}” is not a currency code of ISO 4217.")
        return code

    def clean_deposit_percent(self) -> int:
        percent = int(self.cleaned_data["deposit_percent"])
        if percent > 100:
            raise forms.ValidationError("A deposit is at most 100 per cent.")
        return percent


class LineForm(forms.Form):
    """One row. Left empty, or emptied, it is no line."""

    text = forms.CharField(label="What", max_length=200, required=False)
    quantity = AmountField(
        label="Quantity", min_value=SMALLEST_QUANTITY, max_digits=7, decimal_places=2, initial=1, required=False
    )
    unit_price = AmountField(label="Unit price", max_value=HIGHEST_PRICE, decimal_places=DECIMALS, required=False)
    song = forms.IntegerField(required=False, widget=forms.HiddenInput)
    price_asked = forms.BooleanField(required=False, widget=forms.HiddenInput)

    def clean(self) -> dict[str, Any]:
        is_left_open = self.cleaned_data.get("price_asked") and self.cleaned_data.get("text")
        if is_left_open and "unit_price" in self.cleaned_data and self.cleaned_data["unit_price"] is None:
            self.add_error("unit_price", "Enter a price. 0 is free of charge.")
        if self.cleaned_data.get("unit_price") and not self.cleaned_data.get("text"):
            self.add_error("text", "Enter what this price is for.")
        return self.cleaned_data

    @property
    def line(self) -> Line:
        typed = self.cleaned_data
        price = typed["unit_price"] or Decimal(0)
        return Line(typed["text"], typed["quantity"] or Decimal(1), price, song_id=typed["song"])


class LineFormSet(forms.BaseFormSet[LineForm]):
    @property
    def lines(self) -> list[Line]:
        return [form.line for form in self.forms if form.cleaned_data.get("text")]


Lines: type[LineFormSet] = forms.formset_factory(  # type: ignore[assignment]
    LineForm, formset=LineFormSet, extra=EMPTY_LINES, max_num=MOST_LINES, absolute_max=100
)


def quote_as_initial(booking: Booking, quote: Quote | None) -> dict[str, Any]:
    """What a new draft starts from: the newest version, else the booking's due date and the ways of the house."""
    if quote is None:
        house = House.get()
        return {"currency": house.currency, "deposit_percent": house.deposit_percent, "due_on": booking.due_on}
    return {name: getattr(quote, name) for name in QuoteForm.Meta.fields}


def lines_as_initial(booking: Booking, quote: Quote | None) -> list[dict[str, Any]]:
    """The lines of the newest version, else one for each song. A price that was never typed is left empty."""
    if quote is None:
        songs = booking.songs.exclude(stage=SongStage.TAKEN_OUT).order_by("position")[:MOST_LINES]
        return [{"text": song.title, "quantity": 1, "song": song.pk, "price_asked": True} for song in songs]
    return [
        {
            "text": line.text,
            "quantity": line.quantity.normalize(),
            "unit_price": None if is_open(line) else to_decimal(line.unit_price_minor, quote.currency),
            "song": line.song_id,
            "price_asked": line.price_asked,
        }
        for line in quote.lines.all()
    ]


def is_open(line: QuoteLine) -> bool:
    return line.price_asked and not line.unit_price_minor


def troubles_in(form: QuoteForm, lines: LineFormSet) -> list[str]:
    """What keeps a quote from being shown, a sentence each, with the line that it is about."""
    troubles = [f"{form.fields[name].label or name}: {text}" for name, texts in form.errors.items() for text in texts]
    for number, line in enumerate(lines.forms, start=1):
        troubles += [f"Line {number}: {text}" for texts in line.errors.values() for text in texts]
    return troubles + [str(text) for text in lines.non_form_errors()]


class DecisionForm(forms.Form):
    ACCEPT, DECLINE = "accept", "decline"

    decision = forms.ChoiceField(choices=[(ACCEPT, "accept"), (DECLINE, "decline")])
    reason = forms.CharField(
        label="If you decline: what should change?", max_length=2000, required=False, widget=forms.Textarea
    )


class PaymentForm(forms.Form):
    kind = forms.ChoiceField(label="Payment", choices=Payment.Kind.choices)
    amount = AmountField(label="Amount", max_value=HIGHEST_PRICE, decimal_places=DECIMALS)
    received_on = forms.DateField(label="Received on", widget=DayInput(), initial=timezone.localdate)
    note = forms.CharField(label="Note", max_length=200, required=False)


class TakeBackForm(forms.Form):
    why = forms.CharField(label="Why", max_length=200, help_text="The client sees it too.")

    def __init__(self, data: QueryDict | None = None, *, kind: str = "") -> None:
        super().__init__(data, auto_id=f"take-back-{kind}_%s")  # a page may hold one for each kind
