"""A chart that was made on another tempo map than the one in use: music stays where it is in time, so its bars are
those of the map in use whose lines are nearest."""

from __future__ import annotations

from collections.abc import Callable

from analysis.maps import TempoMap, nearest_bar
from portal.bookings.models import Song
from portal.charts.models import ChartVersion
from portal.intake.models import ApprovedMap


def is_another_map(made: ApprovedMap, in_use: ApprovedMap | None) -> bool:
    """Whether bars are counted otherwise; one that was approved again with the same content counts as they were."""
    if in_use is None or made.pk == in_use.pk:
        return False
    return TempoMap.from_json(made.map) != TempoMap.from_json(in_use.map)


def bars_in_use(made: ApprovedMap, in_use: ApprovedMap | None) -> Callable[[int], int]:
    """Which bar of the map in use each bar of another map is."""
    if in_use is None or not is_another_map(made, in_use):
        return lambda bar: bar
    old, new = TempoMap.from_json(made.map), TempoMap.from_json(in_use.map)
    return lambda bar: nearest_bar(old, new, bar)


def newest_version(song: Song) -> ChartVersion | None:
    return song.chart_versions.select_related("approved_map").first()


def made_on(song: Song, version: ChartVersion | None) -> str:
    """That a chart was made on another map than the one in use, for the drummer; empty where it was not."""
    in_use = song.maps.first()
    if version is None or in_use is None or not is_another_map(version.approved_map, in_use):
        return ""
    return f"The chart was made on tempo map {version.approved_map.version}, and map {in_use.version} counts."


def word_on_sections(song: Song) -> str:
    """What is to be known where the newest chart's sections stand beside the bars of the map in use."""
    said = made_on(song, newest_version(song))
    where = "Its sections stand at the bars that are nearest in time; its pages keep their numbers."
    return f"{said} {where}" if said else ""
