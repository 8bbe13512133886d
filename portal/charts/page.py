"""All that the page of a chart shows, and the chart's sections for other pages."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from django.db.models import Prefetch

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
from portal.charts.inputs import Lacking, lacking_in
from portal.charts.models import ChartDraft, ChartFile, ChartVersion
from portal.charts.moving import bars_in_use, made_on, newest_version
from portal.intake.maps.page import duration_of
from portal.intake.models import ApprovedMap
from portal.people.models import User

PRINTED = (
    ChartFile.Kind.A4,
    ChartFile.Kind.LETTER,
    ChartFile.Kind.A4_LARGE,
    ChartFile.Kind.LETTER_LARGE,
    ChartFile.Kind.MUSICXML,
    ChartFile.Kind.MEI,
)

COUNTED_ANEW = (
    "The bars of this song were counted anew after this chart was made: its bar numbers may differ from those on other"
    " pages."
)


@dataclass(frozen=True)
class ChartPage:
    """`previews`: the pages that the A4 PDF has. `older`: what the newest version is older than, as a sentence.
    `lacking`: what it cannot be drafted without, for the drummer."""

    song: Song
    version: ChartVersion | None
    versions: list[ChartVersion]
    previews: list[ChartFile]
    printed: list[ChartFile]
    drafting: ChartDraft | None
    older: str
    lacking: Lacking | None

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
    pdfs = Prefetch("files", ChartFile.objects.filter(kind=ChartFile.Kind.A4), to_attr="to_look_at")
    seen = ChartVersion.objects.visible_to(user).filter(song=song)
    versions = list(seen.select_related("saved_by", "approved_map").prefetch_related(pdfs))
    version = versions[0] if versions else None
    files = list(version.files.all()) if version else []
    return ChartPage(
        song=song,
        version=version,
        versions=versions,
        previews=_previews(files),
        printed=sorted((one for one in files if one.kind in PRINTED), key=lambda one: PRINTED.index(one.kind)),
        drafting=song.chart_drafts.first() if user.is_drummer else None,
        older=_older(song, version) if user.is_drummer else _older_for_client(song, version),
        lacking=lacking_in(song) if user.is_drummer else None,
    )


def _previews(files: list[ChartFile]) -> list[ChartFile]:
    """Versions that were engraved before there were any have their pages for the kit."""
    of_kind = {
        kind: [one for one in files if one.kind == kind] for kind in (ChartFile.Kind.PREVIEW, ChartFile.Kind.SCREEN)
    }
    return of_kind[ChartFile.Kind.PREVIEW] or of_kind[ChartFile.Kind.SCREEN]


def _older(song: Song, version: ChartVersion | None) -> str:
    said = made_on(song, version)
    return f"{said} Draft it anew to move it onto that map." if said and not song.booking.is_over else said


def _older_for_client(song: Song, version: ChartVersion | None) -> str:
    return COUNTED_ANEW if made_on(song, version) else ""


def seen_of(song: Song, chart: Chart, version: ChartVersion | None) -> dict[str, Any]:
    """What is said of a chart while it is edited: what does not add up beside the map in use, and which bars of that
    map it plays where. It was begun from `version`."""
    length = bars_in_song(song)
    tempo_map = map_in_use(song)
    differing = meter_differences(chart, tempo_map) if tempo_map else ()
    bar_in_use = bars_in_use(version.approved_map, song.maps.first()) if version else int
    checked = length_check(chart, song_bars=length) if length else None
    return {
        "problems": [one.to_json() for one in problems_of(chart)],
        "meters": [
            f"Bar {one.song_bar}: the chart has {one.chart_meter}, the tempo map {one.map_meter}." for one in differing
        ],
        "length": {"agrees": checked.agrees, "sentence": checked.sentence()} if checked else None,
        "fine": fine_words(checked, bars_to_end(song, tempo_map)),
        "order": list(played_order(chart).order),
        "first_bar": bar_in_use(chart.first_bar),
        "song_bars": {str(number): [bar_in_use(bar) for bar in bars] for number, bars in song_bars(chart).items()},
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
    version = newest_version(song)
    if version is None:
        return None
    chart = read_chart(version.chart)
    return bars_in_use(version.approved_map, song.maps.first())(chart.first_bar + len(played_order(chart).order)) - 1


def map_in_use(song: Song) -> TempoMap | None:
    approved = song.maps.first()
    return TempoMap.from_json(approved.map) if approved else None


def bars_in_song(song: Song) -> int | None:
    """As the newest draft counted them, in bars of the map in use; None before there is a draft."""
    draft = song.chart_drafts.filter(state=ChartDraft.State.MADE).select_related("approved_map").first()
    if draft is None or not draft.draft:
        return None
    return bars_in_use(draft.approved_map, song.maps.first())(int(draft.draft["bars"]) + 1) - 1


def named_sections(song: Song) -> list[tuple[int, str]] | None:
    return sections_on(song, song.maps.first())


def sections_on(song: Song, approved: ApprovedMap | None) -> list[tuple[int, str]] | None:
    """(bar of the song, name) of each section of the newest chart, as it is played; None where there is no chart.

    Bars are those of the given map; sections that begin with the same one there are named together.
    """
    version = newest_version(song)
    if version is None:
        return None
    chart = read_chart(version.chart)
    starts, number = {}, 1
    for section in chart.sections:
        starts[number] = f"{section.letter} {section.name}".strip()
        number += len(section.bars)
    bar_on = bars_in_use(version.approved_map, approved)
    named: dict[int, list[str]] = {}
    for place, written in enumerate(played_order(chart).order):
        if starts.get(written):
            named.setdefault(bar_on(chart.first_bar + place), []).append(starts[written])
    return [(bar, " / ".join(names)) for bar, names in named.items()]
