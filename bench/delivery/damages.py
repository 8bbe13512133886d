"""Every damage, and the sets that are damaged: each on sets of several styles."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from bench.delivery.damage_files import FILE_DAMAGES
from bench.delivery.damage_sets import SET_DAMAGES
from bench.delivery.damage_tracks import TRACK_DAMAGES
from bench.delivery.plans import STYLES, plan_of
from bench.delivery.takes import DrumSet, kept
from bench.delivery.truth import Damage, Truth

DAMAGES = (*SET_DAMAGES, *TRACK_DAMAGES, *FILE_DAMAGES)
# Enough tries to find a kit that has the track.
_MOST_TRIES = 12
# Damages share sets: so many seeds.
_SETS = 60


@dataclass(frozen=True)
class Case:
    damage: Damage
    drum_set: DrumSet
    truth: Truth


def cases(first_seed: int, times: int, folder: Path, *, only: str = "") -> Iterator[Case]:
    """Each damage `times` times, on other sets each time.

    `folder` keeps what is made; `only`: the damages whose name holds these words.
    """
    for number, damage in enumerate(DAMAGES):
        if only in damage.name:
            made = 0
            for attempt in range(_MOST_TRIES):
                case = _case(damage, first_seed + (37 * number + attempt) % _SETS, folder)
                if case and made < times:
                    made += 1
                    yield case


def _case(damage: Damage, seed: int, folder: Path) -> Case | None:
    rng = np.random.default_rng([seed, 9])
    styles = [style for style in (damage.styles or tuple(STYLES)) if style in STYLES]
    drum_set = kept(plan_of(str(rng.choice(styles)), seed), folder)
    made = damage.make(drum_set, rng)
    return Case(damage, *made) if made else None
