"""A quote as plain text: what both sides agreed, kept word for word with the acceptance.

We record what the parties agreed. No clause is offered as sufficient: that is for local rules and licensed advice.
"""

from __future__ import annotations

from datetime import date, datetime

from portal.bookings.stages import SongStage
from portal.money.currencies import in_words
from portal.money.models import Quote, QuoteLine
from portal.people.models import House, User
from portal.people.time_zones import zone_in_words
from portal.takes.hooks import AgreedRounds

CAUTION = (
    "This records what the two of you agree, in your words. Kitpost offers no clause as legally sufficient: rights, "
    "credit, tax and consumer rules differ by country. Local rules apply; ask a licensed adviser, or your union, where "
    "it matters."
)


def agreement_text(quote: Quote, *, by: User, at: datetime) -> str:
    """The full text that `by` accepts at this moment."""
    paragraphs = [
        f"Quote {quote.version} for “{quote.booking.title}”",
        "\n".join(
            [
                "Songs:",
                *(
                    f"  {song.position}. {song.title}"
                    for song in quote.booking.songs.exclude(stage=SongStage.TAKEN_OUT)
                ),
            ]
        ),
        "\n".join(_line(line, quote.currency) for line in quote.lines.all()),
        "\n".join([_total(quote), *conditions(quote)]),
        f"Terms:\n{quote.terms}" if quote.terms else "No further terms were written.",
        CAUTION,
        f"Accepted by {by.name} <{by.email}> at {at:%Y-%m-%dT%H:%M:%SZ}.",
    ]
    return "\n\n".join(paragraph for paragraph in paragraphs if paragraph) + "\n"


def conditions(quote: Quote) -> list[str]:
    """Everything besides lines, total and terms, a sentence each; the page shows the same."""
    sentences = _instalments(quote) if quote.total_minor else ["No fee: this booking is free of charge."]
    rounds, calendar = quote.rounds_included, zone_in_words(House.get().time_zone)
    sentences.append(f"Rounds of changes included: {rounds or 'none'}.")
    if quote.further_rounds:
        sentences.append(f"A further round of changes: {quote.further_rounds.rstrip('.')}.")
    if quote.due_on:
        sentences.append(f"Due: {day_in_words(quote.due_on)}, {calendar}.")
    if quote.valid_until:
        sentences.append(f"This offer is valid until the end of {day_in_words(quote.valid_until)}, {calendar}.")
    return sentences


def agreed_rounds(booking_id: int) -> AgreedRounds | None:
    """What `takes.hooks.agreed_rounds` asks: the words of the quote that is in force."""
    quote = Quote.objects.filter(booking=booking_id, state=Quote.State.ACCEPTED).first()
    return AgreedRounds(quote.rounds_included, quote.further_rounds, quote.version) if quote else None


def _total(quote: Quote) -> str:
    return f"Total: {in_words(quote.total_minor, quote.currency)}."


def day_in_words(day: date) -> str:
    return f"{day.day} {day:%B %Y}"


def _instalments(quote: Quote) -> list[str]:
    sentences = []
    if quote.deposit_minor:
        deposit = in_words(quote.deposit_minor, quote.currency)
        sentences.append(f"Deposit ({quote.deposit_percent} %), due before tracking begins: {deposit}.")
    if quote.balance_minor:
        when = "before the full files are released" if quote.balance_before_files else "after delivery"
        sentences.append(f"Balance, due {when}: {in_words(quote.balance_minor, quote.currency)}.")
    return sentences


def _line(line: QuoteLine, currency: str) -> str:
    unit_price = in_words(line.unit_price_minor, currency)
    return f"{line.text}: {line.quantity.normalize():f} × {unit_price} = {in_words(line.amount_minor, currency)}"
