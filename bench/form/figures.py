"""What a draft says besides the sections, against the truth: hits, stops, the ending, grooves, fills and dynamics.

Counted over all songs: precision is the share of what is said that is true, recall the share of what is true that is
said. On true bars the parts are judged by themselves; on measured bars a wrong bar count is their mistake too.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

from analysis.core.chart_draft import ChartDraft, SectionGroove
from bench.form.scores import Scores

# A place is right within half a sixteenth, a stop's length within a sixteenth, in written beats.
PLACE_BEATS, LENGTH_BEATS = 0.13, 0.26
DRUMS = ("kick", "snare", "hat")
DYNAMICS = ("pp", "p", "mp", "mf", "f", "ff")


@dataclass(frozen=True)
class Counts:
    right: int = 0
    said: int = 0
    true: int = 0

    def __add__(self, other: Counts) -> Counts:
        return Counts(self.right + other.right, self.said + other.said, self.true + other.true)

    @property
    def scores(self) -> Scores:
        return Scores(self.right / self.said if self.said else 0.0, self.right / self.true if self.true else 0.0)

    def row(self) -> str:
        scores = self.scores
        shares = f"{scores.precision:5.2f} {scores.recall:5.2f} {scores.f:5.2f}"
        return f"{shares}  {self.right:4d} {self.said:4d} {self.true:4d}"


def counts_of(draft: ChartDraft, truth: Mapping[str, Any]) -> dict[str, Counts]:
    """Of one song, by what is counted."""
    return {
        "hits": hit_counts([(hit.bar, hit.beat) for hit in draft.hits], truth["hits"]),
        "stops": stop_counts([(stop.bar, stop.beat, stop.beats) for stop in draft.stops], truth["stops"]),
        "ending": Counts(int(draft.ending.kind == truth["ending"]["kind"]), 1, 1),
        "ending and its bar": Counts(int(draft.ending.to_json() == truth["ending"]), 1, 1),
        "grooves": groove_counts(draft, truth),
        "fills": Counts(len(set(draft.fills) & set(truth["fills"])), len(draft.fills), len(truth["fills"])),
        "fills and where they begin": fill_counts(draft, truth),
        "louder or softer": dynamic_counts(draft, truth),
    }


def hit_counts(said: Iterable[tuple[int, float]], true: Sequence[Mapping[str, Any]]) -> Counts:
    places = list(said)
    right = sum(
        any(bar == hit["bar"] and abs(beat - hit["beat"]) < PLACE_BEATS for bar, beat in places) for hit in true
    )
    return Counts(right, len(places), len(true))


def stop_counts(said: Iterable[tuple[int, float, float]], true: Sequence[Mapping[str, Any]]) -> Counts:
    stops = list(said)
    right = sum(any(_is_stop(one, stop) for one in stops) for stop in true)
    return Counts(right, len(stops), len(true))


def _is_stop(said: tuple[int, float, float], true: Mapping[str, Any]) -> bool:
    bar, beat, beats = said
    near = abs(beat - true["beat"]) < PLACE_BEATS and abs(beats - true["beats"]) < LENGTH_BEATS
    return bool(bar == true["bar"] and near)


def fill_counts(draft: ChartDraft, truth: Mapping[str, Any]) -> Counts:
    """Fills that begin on the right beat of the right bar."""
    begins = dict(zip(truth["fills"], truth["fill_beats"], strict=True))
    said = list(zip(draft.fills, draft.fill_beats, strict=True))
    right = sum(bar in begins and abs(beat - begins[bar]) < PLACE_BEATS for bar, beat in said)
    return Counts(right, len(said), len(begins))


def groove_counts(draft: ChartDraft, truth: Mapping[str, Any]) -> Counts:
    """Strokes of every true section against the groove of the drafted section that covers most of it."""
    grooves = {groove.section: groove for groove in draft.grooves}
    true = {groove["section"]: groove for groove in truth["grooves"]}
    total = Counts()
    for number, section in enumerate(truth["sections"], 1):
        said = grooves.get(_covering(draft, section), SectionGroove(0))
        for drum in DRUMS:
            mine = {round(beat, 2) for beat in getattr(said, drum)}
            theirs = {round(beat, 2) for beat in true.get(number, {}).get(drum, ())}
            total += Counts(len(mine & theirs), len(mine), len(theirs))
    return total


def dynamic_counts(draft: ChartDraft, truth: Mapping[str, Any]) -> Counts:
    """Of each true section and the one before it: is it louder or softer? Loudness is that of the covering section."""
    total = Counts()
    for one, two in pairwise(truth["sections"]):
        true = _step(two["dynamic"]) - _step(one["dynamic"])
        covering = [_covering(draft, section) for section in (one, two)]
        first, second = (_step(draft.sections[number - 1].dynamic) if number else 0 for number in covering)
        said = second - first
        total += Counts(int(said * true > 0), int(said != 0), int(true != 0))
    return total


def _step(dynamic: str) -> int:
    return DYNAMICS.index(dynamic) if dynamic in DYNAMICS else 0


def _covering(draft: ChartDraft, section: Mapping[str, Any]) -> int:
    """The number of the drafted section with most bars of this one; 0 where there is none."""
    first, last = section["start_bar"], section["start_bar"] + section["bars"]
    shared = [
        min(one.start_bar + one.bars, last) - max(one.start_bar, first) if one.bars else 0 for one in draft.sections
    ]
    return shared.index(max(shared)) + 1 if shared and max(shared) > 0 else 0


def print_figures(songs: Sequence[tuple[Mapping[str, Any], dict[str, Counts]]]) -> None:
    """One row for each part: all songs, then those with and without drums, as stems and as one mix."""
    print(f"  {'':20}{'precision, recall, F; right, said, true':40}")
    for name in songs[0][1]:
        print(f"  {name:20}{sum((counts[name] for _, counts in songs), Counts()).row()}")
        for kind, chosen in _kinds(songs).items():
            print(f"    {kind:18}{sum((counts[name] for counts in chosen), Counts()).row()}")


def _kinds(songs: Sequence[tuple[Mapping[str, Any], dict[str, Counts]]]) -> dict[str, list[dict[str, Counts]]]:
    found: dict[str, list[dict[str, Counts]]] = {}
    for truth, counts in songs:
        kind = f"{'drums' if truth['drums'] else 'no drums'}, {'stems' if truth['stems'] else 'mix'}"
        found.setdefault(kind, []).append(counts)
    return dict(sorted(found.items()))
