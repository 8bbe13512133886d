"""What a chart is drafted from: the approved map and the files that were measured."""

from __future__ import annotations

import hashlib
import json
from dataclasses import dataclass

from django.urls import reverse

from analysis import ENGINE_VERSION
from portal.bookings.models import Song
from portal.intake.models import ApprovedMap, SourceFile

OVER = "This booking is over: its charts stay as they are."
NO_MAP = "A chart is drafted on an approved tempo map, and this song has none yet."
NO_FILES = "A chart is drafted from measured files, and this song has none yet."


@dataclass(frozen=True)
class DraftInputs:
    approved: ApprovedMap
    sources: tuple[SourceFile, ...]
    fingerprint: str


@dataclass(frozen=True)
class Lacking:
    """What a chart cannot be drafted without, as a sentence, and the page that leads there; none where it is over."""

    sentence: str
    href: str = ""
    label: str = ""


def lacking_in(song: Song) -> Lacking | None:
    """The first thing that a chart of the song cannot be drafted without."""
    if song.booking.is_over:
        return Lacking(OVER)
    if not song.maps.exists():
        return Lacking(NO_MAP, reverse("intake:sheet", args=[song.pk]), "Open the song sheet")
    if inputs_of(song) is None:
        return Lacking(NO_FILES, reverse("intake:files", args=[song.pk]), "Open the song’s files")
    return None


def inputs_of(song: Song) -> DraftInputs | None:
    """None where there is no approved map, or no file that was measured."""
    approved = song.maps.first()
    sources = tuple(one for one in song.sources.current() if one.features_key and one.numbers)
    if approved is None or not sources:
        return None
    named = [ENGINE_VERSION, approved.pk, [[source.name, source.sha256] for source in sources]]
    return DraftInputs(approved, sources, hashlib.sha256(json.dumps(named).encode()).hexdigest())
