"""What a later app answers here. It appends from `AppConfig.ready()`: see bookings/hooks.py."""

from collections.abc import Callable
from dataclasses import dataclass


@dataclass(frozen=True)
class AgreedRounds:
    """What an accepted quote says of rounds of changes. `further` is what it says of a round beyond, in its own words;
    empty where it says nothing."""

    included: int
    further: str
    quote_version: int


# Asked with a booking's key; None: no quote is accepted.
agreed_rounds: list[Callable[[int], AgreedRounds | None]] = []
