"""What an attack is: a function that goes on until it is told to stop, and tells what came of it."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any, Protocol

from tests.attacks.target import Target

Outcome = Mapping[str, object]
# Under this name an outcome counts answers that say that the house broke (5xx): there must be none.
BROKEN = "broken"


class Stop(Protocol):
    """An event, of threads or of processes."""

    def is_set(self) -> bool: ...

    def wait(self, timeout: float | None = None) -> bool: ...


@dataclass(frozen=True)
class Attack:
    """`who` attacks: a stranger, or somebody of the house. What leaves files and messages behind is for a house that is
    thrown away."""

    name: str
    run: Callable[[Target, Stop], Outcome]
    who: str = ""
    leaves_traces: bool = False


def go_on(attack: Attack, target: Target, stop: Stop, outcomes: Any) -> None:
    """What the attack's own process does."""
    outcomes.put("started")
    outcomes.put(attack.run(target, stop))
