"""What a damage is, and what a check has to say of it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np

from bench.delivery.takes import DrumSet


@dataclass(frozen=True)
class Truth:
    """A damage is found when a check with one of these codes fails, and names one of `files` where there are any.

    `figures`: code to the true value and how far from it a check may be; the figure is right when any of these codes
    says it. `files`: the tracks that are at fault, as named before they were written; empty for the set as a whole.
    """

    codes: tuple[str, ...]
    files: tuple[str, ...] = ()
    figures: dict[str, tuple[float, float]] = field(default_factory=dict)
    says: str = ""


Maker = Callable[[DrumSet, np.random.Generator], tuple[DrumSet, Truth] | None]


@dataclass(frozen=True)
class Damage:
    """`make` gives None where a set has nothing to damage so. `styles`: in which of them alone it makes sense.

    `needs`: tracks without which it makes none. `with_mix`: whether the accepted mix is there to compare with. `aim`:
    whether it counts towards the aim.
    """

    name: str
    make: Maker
    styles: tuple[str, ...] = ()
    with_mix: bool = True
    aim: bool = True
    needs: tuple[str, ...] = ()
