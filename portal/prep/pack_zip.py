"""A finished session pack as one zip, laid out over its stored files: the same pack is the same zip, byte for byte."""

from __future__ import annotations

import re
from datetime import UTC, datetime
from functools import partial

from portal.file_serving import read_stored, tag_of
from portal.prep.models import SessionPack
from portal.titles import plain_title
from portal.zip_stream import Archive, Member, lay_out

# Of every file in it: a pack knows no time of day. The first moment that a zip can tell.
MADE_AT = datetime(1980, 1, 1, tzinfo=UTC)
# As `portal.charts.jobs` names what it prints.
_CHART_VERSION = re.compile(r"_chart-v(\d+)_[a-z0-9-]+\.pdf$")


def folder_of(pack: SessionPack) -> str:
    """Named for the map and the chart in it: packs with others have other names."""
    names = (_CHART_VERSION.search(name) for name in sorted(pack.members or {}))
    chart = next((f"_chart-v{found[1]}" for found in names if found), "")
    return f"{plain_title(pack.song.title)}_session-pack_v{pack.approved_map.version}{chart}"


def zip_of(pack: SessionPack) -> tuple[Archive, str] | None:
    """The zip and its entity tag; None unless the pack is whole."""
    if pack.state != SessionPack.State.MADE:
        return None
    folder = folder_of(pack)
    members = [
        Member(f"{folder}/{name}", item["size_bytes"], item["crc32"], partial(read_stored, item["key"]))
        for name, item in sorted(pack.members.items())
    ]
    return lay_out(members, made_at=MADE_AT), tag_of(folder, *(f"{n}:{m['sha256']}" for n, m in pack.members.items()))
