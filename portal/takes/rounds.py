"""Rounds of changes, counted for each song against what the accepted quote says."""

from __future__ import annotations

from dataclasses import dataclass

from portal.bookings.models import Song
from portal.takes import hooks
from portal.takes.hooks import AgreedRounds
from portal.takes.models import RoughMix

NOTHING_SAID = "The quote does not say what a further round costs: the two of you agree on it."


@dataclass(frozen=True)
class Rounds:
    """`asked`: how many began. `agreed`: None where no quote is accepted."""

    asked: int
    agreed: AgreedRounds | None

    @property
    def next(self) -> int:
        return self.asked + 1

    @property
    def included(self) -> int | None:
        return self.agreed.included if self.agreed else None

    @property
    def next_is_further(self) -> bool:
        return self.agreed is not None and self.next > self.agreed.included

    @property
    def seen(self) -> str:
        """What a page showed of it: a form carries it, so that nobody asks for a round under other terms."""
        return f"{self.asked}/{self.included}/{self.agreed.quote_version if self.agreed else 0}"

    @property
    def count_in_words(self) -> str:
        if self.agreed is None:
            return f"Round {self.next} of changes to this song. No quote is accepted that says how many are included."
        return f"Round {self.next} of changes to this song; quote {self.agreed.quote_version} includes " + (
            f"{self.agreed.included}." if self.agreed.included else "none."
        )

    @property
    def further_in_words(self) -> str:
        """What a round beyond the included ones means, as far as the quote says; empty where the next is included."""
        if self.agreed is None or not self.next_is_further:
            return ""
        if not self.agreed.further:
            return NOTHING_SAID
        return f"The quote says of a further round: {self.agreed.further.rstrip('.')}."


def rounds_of(song: Song) -> Rounds:
    asked = song.rough_mixes.filter(state=RoughMix.State.CHANGE_ASKED).count()
    found = (ask(song.booking_id) for ask in hooks.agreed_rounds)
    return Rounds(asked, next((agreed for agreed in found if agreed is not None), None))
