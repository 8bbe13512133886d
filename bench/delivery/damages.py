"""Every damage, and the sets that are damaged: the good sets in turn, so that nothing is made twice."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from bench.delivery.damage_files import FILE_DAMAGES
from bench.delivery.damage_sets import SET_DAMAGES
from bench.delivery.damage_tracks import TRACK_DAMAGES
from bench.delivery.kits import KITS
from bench.delivery.plans import style_of
from bench.delivery.takes import DrumSet, Plan, kept
from bench.delivery.truth import Damage, Truth

DAMAGES = (*SET_DAMAGES, *TRACK_DAMAGES, *FILE_DAMAGES)
# The next damage begins so many sets further on: styles and damages take turns.
_FURTHER = 7


@dataclass(frozen=True)
class Case:
    damage: Damage
    drum_set: DrumSet
    truth: Truth


def cases_of(number: int, plans: Sequence[Plan], times: int, folder: Path, *, only: str = "") -> Iterator[Case]:
    """The damages of the good set of this number; over all sets each damage comes up to `times` times.

    `folder` keeps what is made; `only`: the damages whose name holds these words.
    """
    for place, damage in enumerate(DAMAGES):
        if any(word in damage.name for word in only.split("|")) and number in _chosen(place, damage, plans, times):
            made = damage.make(kept(plans[number], folder), np.random.default_rng([plans[number].seed, place]))
            if made:
                yield Case(damage, *made)


def _chosen(place: int, damage: Damage, plans: Sequence[Plan], times: int) -> list[int]:
    """Sets that suit in style and tracks, one after the other from another one on for each damage."""
    in_turn = [(place * _FURTHER + step) % len(plans) for step in range(len(plans))]
    suited = [one for one in in_turn if not damage.styles or style_of(one) in damage.styles]
    return [one for one in suited if set(damage.needs) <= _tracks_of(plans[one])][:times]


def _tracks_of(plan: Plan) -> set[str]:
    return {microphone.name for microphone in KITS[plan.kit].microphones}
