"""Would a wrong sample rate explain it? Stated and found tempo in the ratio of two rates say so.

48 kHz material read as 44.1 kHz runs at 0.91875 of its tempo and sounds 1.47 semitones flat: 112 becomes 102.9.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

from analysis.maps.tempo_map import exact

# (made at, played at): what exports and imports confuse. 0.1 % is the pull-down of film and video. Half and double
# rates are left out: they cannot be told from a tempo counted in halves.
_CONFUSIONS = (
    (48_000, 44_100),
    (44_100, 48_000),
    (96_000, 88_200),
    (88_200, 96_000),
    (96_000, 44_100),
    (48_000, 47_952),
    (47_952, 48_000),
)
# How near a ratio must be (house choice), and at which levels of the tempo.
_TOLERANCE = Fraction(5, 10_000)
_LEVELS = (Fraction(1), Fraction(1, 2), Fraction(2))
# The pull-down's tolerance must stay below the effect itself (0.1 %).
_SMALL_TOLERANCE = Fraction(1, 10_000)


@dataclass(frozen=True)
class RateConfusion:
    made_hz: int
    played_hz: int

    @property
    def factor(self) -> Fraction:
        return Fraction(self.played_hz, self.made_hz)


def suspected_rates(said: float, found: float) -> RateConfusion | None:
    """The confusion of rates that turns the stated tempo into the one found, within 0.05 %; else None.

    The one found may be counted in halves or doubles of the one stated.
    """
    ratio = exact(found) / exact(said)
    for made_hz, played_hz in _CONFUSIONS:
        confusion = RateConfusion(made_hz, played_hz)
        tolerance = _SMALL_TOLERANCE if abs(confusion.factor - 1) < Fraction(1, 100) else _TOLERANCE
        if any(abs(ratio / level / confusion.factor - 1) <= tolerance for level in _LEVELS):
            return confusion
    return None
