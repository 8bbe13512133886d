"""Where drums and microphones stand: metres, x to the drummer's right, y away from the drummer, z up.

Positions, tunings and rooms are house choices within what kits are. A microphone's polarity towards a drum follows from
the side on which it stands: a struck head moves away from the stick, its other head towards the far side (D-24: the two
heads of one drum move oppositely).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from analysis.core.samples import Doubles

SPEED_OF_SOUND_M_S = 343.2  # at 20 degrees C


@dataclass(frozen=True)
class Drum:
    """`sound` names its voice in `hits.py`; `hz` its lowest tone, where it has one."""

    name: str
    sound: str
    at_m: tuple[float, float, float]
    hz: float = 0.0


@dataclass(frozen=True)
class Microphone:
    """`drum`: whose own microphone it is, pointing at it; None for overheads and rooms, which hear all round."""

    name: str
    at_m: tuple[float, float, float]
    drum: str | None = None
    opposite_head: bool = False


@dataclass(frozen=True)
class Kit:
    """`room_m`: width, depth and height of the room around the drummer's stool; `tail_s`: its reverberation time."""

    name: str
    drums: tuple[Drum, ...]
    microphones: tuple[Microphone, ...]
    room_m: tuple[float, float, float] = (6.0, 8.0, 3.2)
    tail_s: float = 0.4
    seed: int = 1

    def drum(self, name: str) -> Drum:
        return next(drum for drum in self.drums if drum.name == name)


def distance_m(one: tuple[float, float, float], other: tuple[float, float, float]) -> float:
    apart: Doubles = np.subtract(one, other)
    return float(np.sqrt(apart @ apart))


def arrival_s(kit: Kit, drum: str, microphone: str) -> float:
    """How long a drum's sound takes to a microphone."""
    place = next(one.at_m for one in kit.microphones if one.name == microphone)
    return distance_m(kit.drum(drum).at_m, place) / SPEED_OF_SOUND_M_S


def _drums(tuning: float, spread: float) -> tuple[Drum, ...]:
    return (
        Drum("kick", "kick", (0.0, 0.50 * spread, 0.30), 52 * tuning),
        Drum("snare", "snare", (-0.22, 0.12, 0.66), 190 * tuning),
        Drum("hat", "hat", (-0.60 * spread, 0.28, 0.92)),
        Drum("open", "open", (-0.60 * spread, 0.28, 0.92)),
        Drum("tom1", "tom", (-0.12, 0.55 * spread, 0.88), 150 * tuning),
        Drum("tom2", "tom", (0.24, 0.54 * spread, 0.86), 118 * tuning),
        Drum("floor1", "tom", (0.58 * spread, 0.06, 0.62), 82 * tuning),
        Drum("ride", "ride", (0.62 * spread, 0.55 * spread, 1.05)),
        Drum("crash", "crash", (-0.55 * spread, 0.80 * spread, 1.30)),
    )


def _microphones(*, over_m: float, apart_m: float, room_m: float, front_m: float) -> dict[str, Microphone]:
    half = apart_m / 2
    all_of_them = (
        Microphone("KickIn", (0.02, 0.62, 0.30), "kick"),
        Microphone("KickOut", (0.06, 0.50 + front_m, 0.32), "kick", opposite_head=True),
        Microphone("SnTop", (-0.25, 0.20, 0.71), "snare"),
        Microphone("SnBot", (-0.24, 0.18, 0.53), "snare", opposite_head=True),
        Microphone("Hat", (-0.66, 0.36, 1.06), "hat"),
        Microphone("Tom1", (-0.12, 0.66, 0.93), "tom1"),
        Microphone("Tom2", (0.28, 0.65, 0.91), "tom2"),
        Microphone("Floor1", (0.66, 0.16, 0.68), "floor1"),
        Microphone("Ride", (0.70, 0.62, 1.16), "ride"),
        Microphone("OHL", (-0.1 - half, 0.35, 0.66 + over_m)),
        Microphone("OHR", (-0.1 + half, 0.33, 0.68 + over_m)),
        Microphone("RmL", (-1.4, room_m, 1.5)),
        Microphone("RmR", (1.5, room_m + 0.1, 1.5)),
        Microphone("RmMono", (0.3, 0.7 * room_m, 0.8)),
    )
    return {one.name: one for one in all_of_them}


def _chosen(microphones: dict[str, Microphone], left_out: str = "") -> tuple[Microphone, ...]:
    return tuple(one for name, one in microphones.items() if name not in left_out.split())


KITS = {
    kit.name: kit
    for kit in (
        Kit(
            "large",
            _drums(1.0, 1.0),
            _chosen(_microphones(over_m=1.05, apart_m=1.2, room_m=4.0, front_m=0.50)),
            seed=11,
        ),
        Kit(
            "close",
            _drums(1.15, 0.9),
            _chosen(_microphones(over_m=0.85, apart_m=0.9, room_m=2.6, front_m=0.42), "RmMono Ride"),
            room_m=(4.2, 5.0, 2.5),
            tail_s=0.22,
            seed=12,
        ),
        Kit(
            "hall",
            _drums(0.9, 1.1),
            _chosen(_microphones(over_m=1.3, apart_m=1.6, room_m=6.0, front_m=0.60), "Ride"),
            room_m=(10.0, 14.0, 5.0),
            tail_s=0.8,
            seed=13,
        ),
        Kit(
            "few",
            _drums(1.05, 1.0),
            _chosen(
                _microphones(over_m=1.0, apart_m=1.0, room_m=3.2, front_m=0.45),
                "KickOut SnBot Tom2 Ride RmL RmR",
            ),
            tail_s=0.3,
            seed=14,
        ),
    )
}
