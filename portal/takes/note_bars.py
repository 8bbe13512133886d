"""The bars that a note is about, by the map that it was written against and by the one that holds now."""

from __future__ import annotations

from dataclasses import dataclass

from analysis.maps import TempoMap, moved_bars
from portal.intake.models import ApprovedMap
from portal.takes.models import BarNote


@dataclass(frozen=True)
class NoteBars:
    """`moved_from`: the bars as they were written, where another map has moved them; empty where none has."""

    first: int
    last: int
    moved_from: str = ""
    written_version: int = 0

    @property
    def in_words(self) -> str:
        return bars_in_words(self.first, self.last)


def bars_of(note: BarNote, now: ApprovedMap | None) -> NoteBars:
    """By time: what was bar 33 of the map it was written against is the bar that lies there now."""
    written = note.approved_map
    if now is None or now.pk == written.pk or now.map == written.map:
        return NoteBars(note.first_bar, note.last_bar)
    old, new = TempoMap.from_json(written.map), TempoMap.from_json(now.map)
    first, last = moved_bars(old, new, note.first_bar, note.last_bar)
    if (first, last) == (note.first_bar, note.last_bar):
        return NoteBars(first, last)
    return NoteBars(first, last, bars_in_words(note.first_bar, note.last_bar), written.version)


def in_bars(note: BarNote, now: ApprovedMap | None) -> str:
    return bars_of(note, now).in_words


def bars_in_words(first: int, last: int) -> str:
    return f"bar {first}" if first == last else f"bars {first}–{last}"
