"""One excerpt as a page shows it: its bars on its own clock, and what the answer would change."""

from __future__ import annotations

import json
from dataclasses import dataclass, replace
from decimal import Decimal

from analysis.core import tempo_in_figures, tempo_in_words
from analysis.maps import TempoMap
from portal.intake.checks.offers import carried_bpm
from portal.listening.models import Excerpt
from portal.listening.services import TIMES_TEMPO
from portal.listening.taps import TappedOne, tapped_one

SIX_DIGITS = Decimal("0.000001")


@dataclass(frozen=True)
class Change:
    """The map that an answer speaks for, ready to be taken with one press."""

    bpm: str
    meter: str
    bar_one_s: str
    label: str


@dataclass(frozen=True)
class ExcerptShown:
    excerpt: Excerpt
    tempo: str
    map_json: str
    tapped: TappedOne | None
    change: Change | None

    @property
    def tapped_words(self) -> str:
        if self.tapped is None:
            return ""
        if not self.tapped.is_clear:
            return "the taps do not agree on one place in the bar"
        beats = self.tapped.beats_later
        if not beats:
            return "the taps are on the click’s beat one"
        count = "one beat" if abs(beats) == 1 else f"{abs(beats)} beats"
        return f"the taps are {count} {'later' if beats > 0 else 'earlier'}"


def excerpt_shown(excerpt: Excerpt) -> ExcerptShown:
    tempo_map = TempoMap.from_json(excerpt.map)
    tapped = tapped_one(tempo_map, excerpt.taps_s)
    segment = tempo_map.segment_at_bar(excerpt.first_bar)
    return ExcerptShown(
        excerpt=excerpt,
        tempo=tempo_in_words(tempo_in_figures(float(segment.bpm)), segment.meter.beat_name),
        map_json=json.dumps(on_its_own_clock(tempo_map, excerpt)),
        tapped=tapped,
        change=change_of(excerpt, tempo_map, tapped),
    )


def on_its_own_clock(tempo_map: TempoMap, excerpt: Excerpt) -> dict[str, object]:
    """The map for the player, which counts from the start of the excerpt."""
    first = tempo_map.segment_at_bar(excerpt.first_bar)
    at = replace(first, bar=excerpt.first_bar, time_s=tempo_map.time_of_bar(excerpt.first_bar))
    later = [one for one in tempo_map.segments if one.bar > excerpt.first_bar]
    moved = [
        {
            "bar": one.bar,
            "time_s": float(one.time_s) - excerpt.starts_at_s,
            "bpm": float(one.bpm),
            "meter": str(one.meter),
            **({"free": True} if one.free else {}),
        }
        for one in (at, *later)
    ]
    return {"bar_one_s": moved[0]["time_s"], "segments": moved}


def change_of(excerpt: Excerpt, tempo_map: TempoMap, tapped: TappedOne | None) -> Change | None:
    """None where nothing is to change, or where the map has more than one tempo: that is done on the map itself."""
    if len(tempo_map.segments) > 1 or excerpt.answer in ("", Excerpt.Answer.RIGHT, Excerpt.Answer.OTHER):
        return None
    first, beats = tempo_map.segments[0], 0
    bpm = Decimal(carried_bpm(float(first.bpm)))
    if excerpt.answer == Excerpt.Answer.ELSEWHERE:
        if tapped is None or not tapped.is_clear or not tapped.beats_later:
            return None
        beats = tapped.beats_later
        label = f"Bar one {abs(beats)} beat{'' if abs(beats) == 1 else 's'} {'later' if beats > 0 else 'earlier'}"
    else:
        bpm *= TIMES_TEMPO[Excerpt.Answer(excerpt.answer)]
        label = f"Take {tempo_in_words(tempo_in_figures(bpm), first.meter.beat_name)}"
    bar_one_s = Decimal(float(tempo_map.time_of_bar(1, beats))).quantize(SIX_DIGITS)
    return Change(carried_bpm(bpm), str(first.meter), str(bar_one_s), label)
