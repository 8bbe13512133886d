"""All that the page of a chart shows, and the chart's sections for other pages."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from analysis.chart import (
    Chart,
    LengthCheck,
    bar_labels,
    length_check,
    meter_differences,
    played_order,
    problems_of,
    read_chart,
    section_counts,
    song_bars,
)
from analysis.maps import TempoMap, bars_of
from portal.bookings.models import Song
from portal.charts.inputs import inputs_of
from portal.charts.models import ChartDraft, ChartFile, ChartVersion
from portal.intake.maps.page import duration_of
from portal.people.models import User

PRINTED = (
    ChartFile.Kind.A4,
    ChartFile.Kind.LETTER,
    ChartFile.Kind.A4_LARGE,
    ChartFile.Kind.LETTER_LARGE,
    ChartFile.Kind.MUSICXML,
    ChartFile.Kind.MEI,
)


@dataclass(frozen=True)
class ChartPage:
    """`previews`: the pages that the A4 PDF has. `older`: what the newest version is older than, as a sentence.
    `can_draft`: there is something to measure."""

    song: Song
    version: ChartVersion | None
    versions: list[ChartVersion]
    previews: list[ChartFile]
    printed: list[ChartFile]
    drafting: ChartDraft | None
    older: str
    can_draft: bool

    @property
    def is_working(self) -> bool:
        is_drafting = self.drafting is not None and self.drafting.state == ChartDraft.State.MAKING
        return is_drafting or (self.version is not None and self.version.state == ChartVersion.State.ENGRAVING)

    @property
    def trouble(self) -> str:
        """Why the newest draft failed, as long as nothing newer came of it."""
        failed = self.drafting is not None and self.drafting.state == ChartDraft.State.FAILED
        return self.drafting.trouble if failed and self.drafting else ""


def chart_page(song: Song, user: User) -> ChartPage:
    versions = list(ChartVersion.objects.visible_to(user).filter(song=song).select_related("saved_by", "approved_map"))
    version = versions[0] if versions else None
    files = list(version.files.all()) if version else []
    inputs = inputs_of(song) if user.is_drummer else None
    return ChartPage(
        song=song,
        version=version,
        versions=versions,
        previews=_previews(files),
        printed=sorted((one for one in files if one.kind in PRINTED), key=lambda one: PRINTED.index(one.kind)),
        drafting=song.chart_drafts.first() if user.is_drummer else None,
        older=_older(song, version) if user.is_drummer else "",
        can_draft=inputs is not None,
    )


def _previews(files: list[ChartFile]) -> list[ChartFile]:
    """Versions that were engraved before there were any have their pages for the kit."""
    of_kind = {
        kind: [one for one in files if one.kind == kind] for kind in (ChartFile.Kind.PREVIEW, ChartFile.Kind.SCREEN)
    }
    return of_kind[ChartFile.Kind.PREVIEW] or of_kind[ChartFile.Kind.SCREEN]


def _older(song: Song, version: ChartVersion | None) -> str:
    newest = song.maps.first()
    if version is None or newest is None or version.approved_map_id == newest.pk:
        return ""
    made, counts = version.approved_map.version, newest.version
    return f"This chart was made on tempo map {made}, and map {counts} counts. Draft it anew to move it onto that map."


def seen_of(song: Song, chart: Chart, version: ChartVersion | None) -> dict[str, Any]:
    """What is said of a chart while it is edited: what does not add up, and which bars of the song it plays where."""
    length = bars_in_song(song)
    tempo_map = map_of(song, version)
    differing = meter_differences(chart, tempo_map) if tempo_map else ()
    checked = length_check(chart, song_bars=length) if length else None
    return {
        "problems": [one.to_json() for one in problems_of(chart)],
        "meters": [
            f"Bar {one.song_bar}: the chart has {one.chart_meter}, the tempo map {one.map_meter}." for one in differing
        ],
        "length": {"agrees": checked.agrees, "sentence": checked.sentence()} if checked else None,
        "fine": fine_words(checked, bars_to_end(song, tempo_map)),
        "order": list(played_order(chart).order),
        "first_bar": chart.first_bar,
        "song_bars": {str(number): list(bars) for number, bars in song_bars(chart).items()},
        "labels": {str(number): label for number, label in bar_labels(chart).items()},
        "counts": list(section_counts(chart)),
    }


def fine_words(checked: LengthCheck | None, to_end: int) -> str:
    """What is said where everything adds up, and why a ruler over the files may count on."""
    if checked is None:
        return "The signs add up."
    words = f"The signs add up, and the chart has the song’s {checked.song_bars} bars."
    if to_end <= checked.song_bars:
        return words
    return f"{words} The files go on to bar {to_end}: from bar {checked.song_bars + 1} on nothing new is played."


def bars_to_end(song: Song, tempo_map: TempoMap | None) -> int:
    """The last bar of the map that begins before the longest file ends."""
    bars = bars_of(tempo_map, duration_of(song)) if tempo_map else ()
    return max((bar["bar"] for bar in bars), default=0)


def last_bar(song: Song) -> int | None:
    """The song's last bar as its newest chart has it; None without a chart. Files ring on behind it."""
    version = song.chart_versions.first()
    if version is None:
        return None
    chart = read_chart(version.chart)
    return chart.first_bar + len(played_order(chart).order) - 1


def map_of(song: Song, version: ChartVersion | None) -> TempoMap | None:
    approved = version.approved_map if version else song.maps.first()
    return TempoMap.from_json(approved.map) if approved else None


def bars_in_song(song: Song) -> int | None:
    """As the newest draft counted them; None before there is one."""
    draft = song.chart_drafts.filter(state=ChartDraft.State.MADE).first()
    return int(draft.draft["bars"]) if draft and draft.draft else None


def named_sections(song: Song) -> list[tuple[int, str]] | None:
    """(bar of the song, name) of each section of the newest chart, as it is played; None where there is no chart."""
    version = song.chart_versions.first()
    if version is None:
        return None
    chart = read_chart(version.chart)
    starts, number = {}, 1
    for section in chart.sections:
        starts[number] = f"{section.letter} {section.name}".strip()
        number += len(section.bars)
    return [
        (chart.first_bar + place, starts[written])
        for place, written in enumerate(played_order(chart).order)
        if starts.get(written)
    ]
