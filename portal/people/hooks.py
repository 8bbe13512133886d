"""What later apps do for people here. They append from `AppConfig.ready()`: see bookings/hooks.py."""

from collections.abc import Callable
from typing import Protocol


class CarriesLetter(Protocol):
    def __call__(self, *, to: str, subject: str, body: str, key: str) -> object: ...


# Called with an e-mail that only the person it goes to may read. The same key again is the same e-mail.
carries_private_letter: list[CarriesLetter] = []
# Called with a client's key, the key of whoever did it, and what was corrected about them, as a line of a timeline.
on_client_corrected: list[Callable[[int, int, str], object]] = []
