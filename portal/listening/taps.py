"""Where the client hears the one, from taps on it: which beat of the map's bar, and how sure the taps are of it."""

from __future__ import annotations

import cmath
import math
from collections.abc import Sequence
from dataclasses import dataclass

from analysis.maps import TempoMap

# People tap within some tens of milliseconds, and a phone may sound a tenth of a second late: no more than the nearest
# beat can be read from it. Below this agreement (1: all taps on one place of the bar) they point nowhere: house choice.
AGREED = 0.8


@dataclass(frozen=True)
class TappedOne:
    """`beats_later` beats after the map's one, negative when before it; `agreement` from 0 to 1."""

    beats_later: int
    agreement: float

    @property
    def is_clear(self) -> bool:
        return self.agreement >= AGREED


def tapped_one(tempo_map: TempoMap, taps_s: Sequence[float]) -> TappedOne | None:
    """None without taps on a grid. The mean direction of the taps' places in the bar, taken as a circle."""
    taps_s = [tap_s for tap_s in taps_s if not tempo_map.is_free_at(tap_s)]
    if not taps_s:
        return None
    turns, beats = [], 1
    for tap_s in taps_s:
        place = tempo_map.bar_beat_at(tap_s)
        beats = tempo_map.segment_at_bar(place.bar).meter.beats_per_bar
        turns.append(place.beat / beats)
    mean = sum(cmath.exp(2j * math.pi * turn) for turn in turns) / len(turns)
    beat = round(cmath.phase(mean) / (2 * math.pi) * beats)
    return TappedOne(beat if beat > -beats / 2 else beats + beat, abs(mean))
