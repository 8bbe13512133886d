"""Bar-long patterns that the players know, by feel. Positions and lengths are in quarter notes from the bar line.

Tested in `tests/analysis/band/test_score.py`.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from fractions import Fraction

_Hits = tuple[float, ...]
# Where the off-beat eighth falls in its quarter when nothing swings.
EVEN = Fraction(1, 2)
_EIGHTHS: _Hits = tuple(step / 2 for step in range(8))
_SIXTEENTHS: _Hits = tuple(step / 4 for step in range(16))


@dataclass(frozen=True)
class Feel:
    """What each player does in one bar.

    `bass`: (at, length, tone) with tone 0 root, 1 third, 2 fifth, 3 octave. `keys`: (at, length) of chords.
    `strings`: (at, length, tone), tone -1 a whole strum. `drums`: positions by piece. `swing`: where the off-beat
    eighth falls in its quarter. `pushes_from`: from there on the next bar's chord is played early.
    """

    meter: str
    bpm_range: tuple[int, int]
    bass: tuple[tuple[float, float, int], ...]
    keys: tuple[tuple[float, float], ...]
    strings: tuple[tuple[float, float, int], ...]
    drums: dict[str, _Hits] = field(default_factory=dict)
    swing: Fraction = EVEN
    pushes_from: float | None = None
    sevenths: bool = False


def _run(tones: tuple[int, ...], step: float) -> tuple[tuple[float, float, int], ...]:
    return tuple((index * step, step * 1.6, tone) for index, tone in enumerate(tones))


# Patterns and ranges of tempo are house choices.
FEELS: dict[str, Feel] = {
    "ballad": Feel(
        "4/4", (58, 92),
        bass=((0, 1.9, 0), (2, 1.4, 2), (3.5, 0.5, 0)),
        keys=((0, 2), (2, 2)),
        strings=_run((0, 2, 3, 1, 2, 1, 3, 2), 0.5),
        drums={"kick": (0, 2.5), "snare": (1, 3), "hat": _EIGHTHS},
    ),
    "straight": Feel(
        "4/4", (96, 142),
        bass=tuple((at, 0.45, 0 if at < 3.5 else 2) for at in _EIGHTHS),
        keys=((0, 1.5), (1.5, 0.5), (2, 2)),
        strings=((0, 0.9, -1), (1, 0.4, -1), (1.5, 0.4, -1), (2.5, 0.4, -1), (3, 0.9, -1)),
        drums={"kick": (0, 2, 2.5), "snare": (1, 3), "hat": _EIGHTHS},
    ),
    "sixteen": Feel(
        "4/4", (84, 118),
        bass=((0, 0.4, 0), (0.75, 0.2, 0), (1.5, 0.4, 3), (2, 0.4, 0), (2.75, 0.2, 2), (3.25, 0.3, 0)),
        keys=((0.5, 0.3), (1.75, 0.3), (2.5, 0.3), (3.75, 0.2)),
        strings=tuple((at, 0.15, -1) for at in (0, 0.5, 0.75, 1.25, 1.5, 2, 2.5, 2.75, 3.25, 3.5)),
        drums={"kick": (0, 0.75, 2.5), "snare": (1, 3), "hat": _SIXTEENTHS, "ghost": (1.75, 2.25)},
        sevenths=True,
    ),
    "shuffle": Feel(
        "4/4", (92, 168),
        bass=((0, 0.9, 0), (1, 0.9, 1), (2, 0.9, 2), (3, 0.9, 1)),
        keys=((0.5, 0.3), (1.5, 0.3), (2.5, 0.3), (3.5, 0.3)),
        strings=tuple((at, 0.4, -1) for at in _EIGHTHS),
        drums={"kick": (0, 2), "snare": (1, 3), "hat": _EIGHTHS},
        swing=Fraction(131, 200), sevenths=True,
    ),
    "four-floor": Feel(
        "4/4", (112, 132),
        bass=((0.5, 0.4, 0), (1.5, 0.4, 0), (2.5, 0.4, 3), (3.5, 0.4, 0)),
        keys=((0, 0.7), (0.75, 0.7), (1.5, 0.9), (2.5, 0.4), (3, 0.9)),
        strings=((1, 0.2, -1), (3, 0.2, -1), (3.5, 0.2, -1)),
        drums={"kick": (0, 1, 2, 3), "snare": (1, 3), "open": (0.5, 1.5, 2.5, 3.5)},
    ),
    "off-beat": Feel(
        "4/4", (66, 96),
        bass=((0, 0.6, 0), (1.5, 0.4, 2), (2, 0.6, 0), (3, 0.4, 3), (3.5, 0.4, 2)),
        keys=((0.5, 0.25), (1.5, 0.25), (2.5, 0.25), (3.5, 0.25)),
        strings=((1, 0.15, -1), (3, 0.15, -1)),
        drums={"kick": (2,), "snare": (2,), "hat": _EIGHTHS},
    ),
    "push": Feel(
        "4/4", (88, 124),
        bass=((0, 1.4, 0), (1.5, 1, 2), (2.5, 1, 0), (3.5, 0.5, 0)),
        keys=((0, 1.4), (1.5, 1.9), (3.5, 0.5)),
        strings=((0, 0.7, -1), (0.75, 0.7, -1), (1.5, 0.9, -1), (2.5, 0.9, -1), (3.5, 0.4, -1)),
        drums={"kick": (0, 1.5, 2.5), "snare": (1, 3), "hat": _EIGHTHS},
        pushes_from=3.5,
    ),
    "fast": Feel(
        "4/4", (160, 196),
        bass=tuple((at, 0.4, 0) for at in _EIGHTHS),
        keys=((0, 2), (2, 2)),
        strings=tuple((at, 0.35, -1) for at in _EIGHTHS),
        drums={"kick": (0, 1, 2, 3), "snare": (1, 3), "hat": (0, 1, 2, 3)},
    ),
    "march": Feel(
        "2/4", (104, 138),
        bass=((0, 0.8, 0), (1, 0.8, 2)),
        keys=((0.5, 0.4), (1.5, 0.4)),
        strings=((0, 0.4, 0), (0.5, 0.4, -1), (1, 0.4, 2), (1.5, 0.4, -1)),
        drums={"kick": (0,), "snare": (0.5, 1, 1.5, 1.75), "hat": (0, 1)},
    ),
    "waltz": Feel(
        "3/4", (84, 176),
        bass=((0, 0.9, 0), (2, 0.8, 2)),
        keys=((1, 0.7), (2, 0.7)),
        strings=_run((0, 2, 3, 1, 3, 2), 0.5),
        drums={"kick": (0,), "snare": (1, 2), "hat": (0, 1, 2)},
    ),
    "slow-three": Feel(
        "3/4", (62, 96),
        bass=((0, 2.6, 0),),
        keys=((0, 2.8), (1, 1.5), (2.5, 0.5)),
        strings=_run((0, 1, 2, 3, 2, 1), 0.5),
        drums={"kick": (0,), "snare": (2,), "ride": (0, 1, 1.5, 2, 2.5)},
    ),
    "rolling": Feel(
        "6/8", (46, 84),
        bass=((0, 1.3, 0), (1.5, 1, 2), (2.5, 0.5, 0)),
        keys=((0, 1.4), (1.5, 1.4)),
        strings=_run((0, 1, 2, 3, 2, 1), 0.5),
        drums={"kick": (0, 1), "snare": (1.5,), "hat": _EIGHTHS[:6]},
    ),
    "slow-twelve": Feel(
        "12/8", (44, 76),
        bass=((0, 1.4, 0), (1.5, 1, 0), (2.5, 0.5, 2), (3, 1.4, 3), (4.5, 1, 2)),
        keys=((0, 3), (3, 3)),
        strings=_run((0, 1, 2, 3, 2, 1, 0, 1, 2, 3, 2, 1), 0.5),
        drums={"kick": (0, 2.5, 3), "snare": (1.5, 4.5), "hat": tuple(step / 2 for step in range(12))},
    ),
    "five": Feel(
        "5/4", (104, 172),
        bass=((0, 1.4, 0), (1.5, 1.4, 2), (3, 0.9, 0), (4, 0.9, 2)),
        keys=((0, 1.4), (1.5, 0.4), (3, 0.9), (4, 0.9)),
        strings=((0, 0.9, 0), (1, 0.4, 1), (1.5, 0.9, 2), (3, 0.9, -1), (4, 0.9, -1)),
        drums={"kick": (0, 1.5), "snare": (3, 4), "ride": (0, 1, 2, 3, 4)},
    ),
    "seven": Feel(
        "7/8", (176, 264),
        bass=((0, 0.9, 0), (1, 0.9, 0), (2, 0.9, 2), (3, 0.5, 3)),
        keys=((0, 0.9), (1, 0.9), (2, 1.4)),
        strings=_run((0, 1, 2, 3, 2, 1, 2), 0.5),
        drums={"kick": (0, 1), "snare": (2,), "hat": _EIGHTHS[:7]},
    ),
}  # fmt: skip
