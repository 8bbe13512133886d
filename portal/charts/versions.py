"""Versions of a song's chart: the first from what was measured, later ones by hand or with a newer draft."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from django.db import transaction
from django.db.models import Max

from analysis.chart import Chart, Merged, chart_from_draft, merged, moved_bars, played_order, read_chart, refolded
from analysis.core import ChartDraft as MeasuredDraft
from analysis.maps import TempoMap
from portal.bookings.models import Song
from portal.charts import hooks
from portal.charts.models import ChartDraft, ChartVersion
from portal.charts.moving import is_another_map
from portal.intake.models import ApprovedMap
from portal.people.models import User
from portal.queueing import queue_task_on_commit

# What a person may have decided, in the words of a sentence about it.
WORDS = {
    "content": "content",
    "place": "beginning of a section",
    "letter": "rehearsal letter",
    "hits": "set of hits",
    "stops": "set of stops",
    "fills": "set of fills",
    "dynamics": "dynamic",
    "road": "road (repeats and jumps)",
    "words": "set of words",
}


@transaction.atomic
def add_version(
    song: Song,
    chart: dict[str, Any],
    *,
    origin: ChartVersion.Origin,
    approved: ApprovedMap,
    by: User,
    draft: ChartDraft | None = None,
    differences: list[str] | None = None,
    note: str = "",
) -> ChartVersion:
    """The next version, and its engraving once it is safe. Call it with the song's row locked."""
    last = ChartVersion.objects.filter(song=song).aggregate(last=Max("number"))["last"] or 0
    version = ChartVersion.objects.create(
        song=song,
        number=last + 1,
        origin=origin,
        chart=chart,
        approved_map=approved,
        draft=draft,
        differences=differences or [],
        note=note,
        saved_by=by,
    )
    queue_task_on_commit("portal.charts.tasks.engrave", version.pk)
    for call in hooks.on_chart_saved:
        call(song.pk)
    return version


@transaction.atomic
def take_draft(draft: ChartDraft) -> ChartVersion | None:
    """What was measured as a chart: the first version, or the newest one brought up to the draft. What a person decided
    there stays; what the draft has otherwise is kept beside it as sentences. None where there are no bars."""
    song = Song.objects.select_for_update().get(pk=draft.song_id)
    before = song.chart_versions.select_related("approved_map", "draft").first()
    drafted = _drafted(draft, fold=before is None)
    if drafted is None:
        return None
    if before is None:
        chart, origin, differences = drafted, ChartVersion.Origin.DRAFTED, list[str]()
    else:
        brought_up = merged(read_chart(before.chart), drafted, moved=_moved(before, draft))
        chart, origin = refolded(brought_up.chart), ChartVersion.Origin.MERGED
        differences = list(_sentences(brought_up))
    return add_version(
        song,
        chart.to_json(),
        origin=origin,
        approved=draft.approved_map,
        by=draft.asked_by,
        draft=draft,
        differences=differences,
    )


def _drafted(draft: ChartDraft, *, fold: bool) -> Chart | None:
    return chart_from_draft(
        MeasuredDraft.from_json(draft.draft or {}),
        title=draft.song.title,
        tempo_map=TempoMap.from_json(draft.approved_map.map),
        fold=fold,
    )


def _moved(before: ChartVersion, draft: ChartDraft) -> dict[int, int] | None:
    """Which bar each bar became where the map is another; None where it is the same."""
    if not is_another_map(before.approved_map, draft.approved_map):
        return None
    new = [float(time_s) for time_s in (draft.draft or {})["downbeats_s"]]
    old_map = TempoMap.from_json(before.approved_map.map)
    bars = len(played_order(read_chart(before.chart)).order)
    return moved_bars([float(old_map.time_of_bar(bar)) for bar in range(1, bars + 2)], new)


def _sentences(brought_up: Merged) -> Iterator[str]:
    if brought_up.shifted:
        later = "later" if brought_up.shifted > 0 else "earlier"
        bars = abs(brought_up.shifted)
        yield f"With the tempo map, what was decided moved {bars} {'bar' if bars == 1 else 'bars'} {later}."
    if brought_up.lost:
        yield f"No longer in the song, with what was decided there: bar {', '.join(map(str, brought_up.lost))}."
    for one in brought_up.differences:
        if one.aspect == "beginning":
            yield f"In bar {one.bar} the draft begins no section; what was measured of the one there is gone."
            continue
        where = "In the whole chart" if one.bar is None else f"In bar {one.bar}"
        yield f"{where} the draft has another {WORDS.get(one.aspect, one.aspect)}; yours stays."
