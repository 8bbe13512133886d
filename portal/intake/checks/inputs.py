"""What a check of a song is made from, and the fingerprint that names it: the same inputs are measured once."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any, NamedTuple, cast

from django.db.models import Q

from analysis import ENGINE_VERSION
from analysis.core import Brief as SaidBrief
from analysis.core import Starts
from portal.bookings.models import Brief, Song
from portal.intake.models import SourceFile


class InputFile(NamedTuple):
    """Of a source file, what a check needs."""

    pk: int
    name: str
    sha256: str
    key: str
    features_key: str


@dataclass(frozen=True)
class CheckInputs:
    """`measured` could be read, `refused` could not; `brief` is what the client said that measuring weighs."""

    measured: tuple[InputFile, ...]
    refused: tuple[InputFile, ...]
    brief: SaidBrief

    @property
    def fingerprint(self) -> str:
        named = {
            "engine": ENGINE_VERSION,
            "files": [[source.pk, source.sha256, source.features_key] for source in self.measured],
            "refused": [source.pk for source in self.refused],
            "brief": self.brief.to_json(),
        }
        return hashlib.sha256(json.dumps(named, sort_keys=True).encode()).hexdigest()

    @property
    def files(self) -> tuple[InputFile, ...]:
        return self.measured + self.refused


def gather(song: Song) -> CheckInputs | None:
    """The song's current files, without their reports, and brief; None while a file is still to be surveyed.

    There may be thousands: nothing is read of them that a check does not need.
    """
    rows = list(song.sources.current().values_list("status", *InputFile._fields))
    if any(status == SourceFile.Status.RECEIVED for status, *_ in rows):
        return None
    return CheckInputs(
        measured=tuple(InputFile(*row) for status, *row in rows if status == SourceFile.Status.SURVEYED),
        refused=tuple(InputFile(*row) for status, *row in rows if status == SourceFile.Status.REFUSED),
        brief=said_in(song),
    )


def said_in(song: Song) -> SaidBrief:
    brief = Brief.objects.filter(song=song).first()
    if brief is None:
        return SaidBrief(not_clicks=not_clicks(song))
    return SaidBrief(
        bpm=None if brief.bpm is None else float(brief.bpm),
        meter=brief.meter or None,
        starts=cast(Starts, brief.starts),
        count_in_bars=None if brief.count_in_bars is None else float(brief.count_in_bars),
        make_map=brief.click == Brief.Clicks.MAKE_MAP,
        click_promised=brief.click == Brief.Clicks.SENT,
        not_clicks=not_clicks(song),
    )


def not_clicks(song: Song) -> tuple[str, ...]:
    """Files that are no click, as somebody said of them or of an earlier version."""
    said = {first or pk for pk, first in song.sources.filter(is_no_click=True).values_list("pk", "first")}
    named = song.sources.current().filter(Q(pk__in=said) | Q(first__in=said))
    return tuple(named.values_list("name", flat=True))


def reports_of(sources: Iterable[InputFile]) -> dict[int, dict[str, Any]]:
    """By key, of those that have one."""
    of_these = SourceFile.objects.filter(pk__in=[source.pk for source in sources])
    return {pk: report for pk, report in of_these.values_list("pk", "report") if report}
