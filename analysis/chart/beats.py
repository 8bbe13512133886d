"""Places in a bar, exact: beats from 1 in the meter's written unit (a quarter in 4/4, an eighth in 6/8).

In JSON a beat is a number where decimals say it exactly (2.5), else a text (`"7/3"`). Within one written beat of a
quarter, notes lie on sixteenths or on triplet eighths; in shorter units on sixteenths.
"""

from __future__ import annotations

from collections.abc import Iterable
from fractions import Fraction

from analysis.maps.tempo_map import MeterSign

SIXTEENTH, TRIPLET = Fraction(1, 4), Fraction(1, 3)  # of a quarter


def quarters_per_unit(meter: MeterSign) -> Fraction:
    """How long the meter's written unit is: 1 in 4/4, 1/2 in 6/8."""
    return Fraction(4, meter.lower)


def bar_quarters(meter: MeterSign) -> Fraction:
    return meter.upper * quarters_per_unit(meter)


def felt_beat_units(meter: MeterSign) -> int:
    """Written units in the beat that is felt: 1 in 4/4, 3 in 6/8."""
    return 3 if meter.is_compound else 1


def is_in_bar(beat: Fraction, meter: MeterSign) -> bool:
    return 1 <= beat < meter.upper + 1


def is_on_grid(quarters: Fraction) -> bool:
    """Whether a distance from the bar line, or a length, is a whole number of sixteenths or of triplet eighths."""
    return (quarters / SIXTEENTH).denominator == 1 or (quarters / TRIPLET).denominator == 1


def from_bar_line(beat: Fraction, meter: MeterSign) -> Fraction:
    """Quarters from the bar line to a beat."""
    return (beat - 1) * quarters_per_unit(meter)


def takes_triplet(place: Fraction, meter: MeterSign) -> bool:
    """Whether a triplet can be written around a place: not in compound meters, nor where the bar cuts its quarter."""
    return not meter.is_compound and int(place) + 1 <= bar_quarters(meter)


def mixed_beats(places: Iterable[Fraction]) -> list[int]:
    """The quarters (from 0) of a bar in which sixteenths and triplets lie side by side. `places` are in quarters."""
    kinds: dict[int, set[str]] = {}
    for place in places:
        inside = place % 1
        if inside in (SIXTEENTH, 2 * SIXTEENTH, 3 * SIXTEENTH):
            kinds.setdefault(int(place), set()).add("sixteenth")
        elif inside:
            kinds.setdefault(int(place), set()).add("triplet")
    return sorted(quarter for quarter, found in kinds.items() if len(found) > 1)


def snapped(beat: float, meter: MeterSign) -> Fraction:
    """The place on the grid that a measured beat means, inside its bar; sixteenths win a draw."""
    quarters = (Fraction(beat).limit_denominator(960) - 1) * quarters_per_unit(meter)
    sixteenth = round(quarters / SIXTEENTH) * SIXTEENTH
    triplet = round(quarters / TRIPLET) * TRIPLET
    straight = abs(sixteenth - quarters) <= abs(triplet - quarters)
    best = sixteenth if straight or not takes_triplet(triplet, meter) else triplet
    best = min(max(best, Fraction(0)), bar_quarters(meter) - SIXTEENTH)
    return 1 + best / quarters_per_unit(meter)


def snapped_length(beats: float, meter: MeterSign) -> Fraction:
    """A measured length on the grid, a sixteenth at least."""
    quarters = Fraction(beats).limit_denominator(960) * quarters_per_unit(meter)
    sixteenth = round(quarters / SIXTEENTH) * SIXTEENTH
    triplet = round(quarters / TRIPLET) * TRIPLET
    best = sixteenth if abs(sixteenth - quarters) <= abs(triplet - quarters) or meter.is_compound else triplet
    return max(best, SIXTEENTH) / quarters_per_unit(meter)


# How players count the parts of a beat (common practice): "1 e & a", in triplets "1 trip let", between eighths "&".
_PARTS = {
    Fraction(1, 4): "e",
    Fraction(1, 2): "&",
    Fraction(3, 4): "a",
    Fraction(1, 3): " trip",
    Fraction(2, 3): " let",
}


def counted(beat: Fraction, meter: MeterSign) -> str:
    """A beat as it is counted: 7/4 is "1a" in 4/4, 5/2 is "2&" in 6/8; what nobody counts, in decimals."""
    part = beat % 1
    halves = meter.lower < 8 or part == Fraction(1, 2)
    return (
        f"{int(beat)}{_PARTS[part] if part else ''}" if not part or (part in _PARTS and halves) else f"{float(beat):g}"
    )


def beat_json(beat: Fraction) -> int | float | str:
    if beat.denominator == 1:
        return int(beat)
    binary = beat.denominator & (beat.denominator - 1) == 0
    return float(beat) if binary else str(beat)
