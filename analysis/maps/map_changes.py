"""Which bars of one tempo map lie where some bars of another lie: notes and sections move by time when a map is made
anew.

Sound that the bars share with a new bar for less than a quarter of it does not count (house choice): a map that moved
by some milliseconds gives the same bars.
"""

from __future__ import annotations

from fractions import Fraction

from analysis.maps.tempo_map import TempoMap

_SHARED_AT_LEAST = Fraction(1, 4)  # of a bar; house choice, see above


def moved_bars(old: TempoMap, new: TempoMap, first_bar: int, last_bar: int) -> tuple[int, int]:
    """First and last bar of `new` over the time that `first_bar` to `last_bar` take in `old`; at least one bar."""
    first = _bar_at(new, old.time_of_bar(first_bar), by=_SHARED_AT_LEAST)
    last = _bar_at(new, old.time_of_bar(last_bar + 1), by=-_SHARED_AT_LEAST)
    return first, max(first, last)


def nearest_bar(old: TempoMap, new: TempoMap, bar: int) -> int:
    """The bar of `new` whose line is nearest in time to that of a bar of `old`; of two as near the earlier."""
    time_s = old.time_of_bar(bar)
    at = new.bar_beat_at(time_s).bar
    return min((at, at + 1), key=lambda one: abs(new.time_of_bar(one) - time_s))


def _bar_at(tempo_map: TempoMap, time_s: Fraction, *, by: Fraction) -> int:
    """The bar at a time, after going on by a share of the bar there."""
    return tempo_map.bar_beat_at(time_s + by * tempo_map.segment_at(time_s).bar_s).bar
