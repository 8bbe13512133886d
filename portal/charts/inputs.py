"""What a chart is drafted from: the approved map and the files that were measured."""

from __future__ import annotations

import hashlib
import json
from dataclasses import dataclass

from analysis import ENGINE_VERSION
from portal.bookings.models import Song
from portal.intake.models import ApprovedMap, SourceFile


@dataclass(frozen=True)
class DraftInputs:
    approved: ApprovedMap
    sources: tuple[SourceFile, ...]
    fingerprint: str


def inputs_of(song: Song) -> DraftInputs | None:
    """None where there is no approved map, or no file that was measured."""
    approved = song.maps.first()
    sources = tuple(one for one in song.sources.current() if one.features_key and one.numbers)
    if approved is None or not sources:
        return None
    named = [ENGINE_VERSION, approved.pk, [[source.name, source.sha256] for source in sources]]
    return DraftInputs(approved, sources, hashlib.sha256(json.dumps(named).encode()).hexdigest())
