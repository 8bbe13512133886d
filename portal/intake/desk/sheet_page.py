"""The song sheet: what was found and where, what was said and what was measured, and what is decided."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal
from typing import Any

from analysis.core import Alternative, Place, SongMeasures, fill
from analysis.findings import KIND_BY_CODE, Severity
from analysis.maps import TempoMap, TempoMapError
from analysis.rules import in_bars
from portal.bookings.models import Brief, Song
from portal.bookings.stages import SongStage
from portal.intake.checks import services
from portal.intake.checks.offers import carried_bpm
from portal.intake.checks.page_version import Seen
from portal.intake.checks.tempo_claims import FileSays, files_say
from portal.intake.desk.files_page import FindingShown, place_of
from portal.intake.desk.forms import OverruleForm
from portal.intake.desk.sheet_facts import Fact, facts_of, map_tempo
from portal.intake.errors import NoMapError
from portal.intake.maps.song_maps import DEFAULT_METER, map_of_song, measured_map, meter_of
from portal.intake.models import ApprovedMap, Finding, SongCheck, SourceFile

SEVERITY_ORDER = list(Severity)


@dataclass(frozen=True)
class Reading:
    """One other way to read the tempo, ready to be taken with one press."""

    bpm: str
    meter: str
    bar_one_s: str
    label: str


@dataclass(frozen=True)
class SheetPage:
    song: Song
    brief: Brief | None
    check: SongCheck | None
    measures: SongMeasures | None
    meter: str
    sources: Sequence[SourceFile]
    open_findings: Sequence[FindingShown]
    settled: Sequence[FindingShown]
    readings: Sequence[Reading]
    approved: ApprovedMap | None
    approved_map: TempoMap | None
    is_current: bool
    reasons: Sequence[str]
    is_decided: bool
    broke_off: SongCheck | None
    unmeasured: Sequence[SourceFile]
    files_say: Sequence[FileSays]

    @property
    def seen(self) -> Seen:
        return Seen.of(self.check, self.approved)

    @property
    def facts(self) -> tuple[Fact, ...]:
        reports = [source.numbers for source in self.sources if source.numbers]
        return facts_of(self.measures, reports, self.brief, self.approved_map)

    @property
    def meters_said(self) -> list[FileSays]:
        return [said for said in self.files_say if said.meter]

    @property
    def measured_words(self) -> str:
        """The tempo of what "as measured" would approve."""
        try:
            return tempo_words(TempoMap.from_json(measured_map(self.check.numbers))) if self.check else ""
        except (NoMapError, TempoMapError):
            return ""

    @property
    def is_as_measured(self) -> bool:
        """Whether what is approved is what "as measured" would approve again, and nobody said that it is wrong."""
        if self.approved is None or self.approved.origin != ApprovedMap.Origin.MEASURED or not self.song.map_approved:
            return False
        try:
            measured = measured_map(self.check.numbers) if self.check else None
        except NoMapError:
            return False
        return self.is_current and self.approved.map == measured

    @property
    def approved_words(self) -> str:
        return tempo_words(self.approved_map) if self.approved_map else ""

    @property
    def approved_meters(self) -> str:
        return meter_words(self.approved_map) if self.approved_map else ""

    @property
    def moves(self) -> bool:
        """Whether one straight grid would be less than what holds now."""
        measured_moves = self.measures is not None and self.measures.tempo.kind == "map"
        return measured_moves or (self.approved_map is not None and len(self.approved_map.segments) > 1)

    @property
    def first(self) -> dict[str, Any]:
        """Tempo, meter and bar one as approved; empty when nothing is."""
        return from_map(self.approved_map) if self.approved_map else {}


def sheet_page(song: Song) -> SheetPage:
    check, approved = song.checks.done().first(), song.maps.select_related("approved_by").first()
    sources = list(song.sources.current())
    measures = check.numbers.song if check else None
    tempo_map = map_of_song(song)
    findings = list(song.findings.select_related("source", "ended_by", "resolved_by", "question__answered_by"))
    open_ones = [finding for finding in findings if finding.state == Finding.State.OPEN]
    return SheetPage(
        song=song,
        brief=Brief.objects.filter(song=song).first(),
        check=check,
        measures=measures,
        meter=meter_of(check.numbers) if check else "",
        sources=sources,
        open_findings=gravest_first(open_ones, tempo_map),
        settled=[shown(finding, tempo_map) for finding in findings if finding.state != Finding.State.OPEN],
        readings=readings_of(measures, meter_of(check.numbers)) if check and measures else (),
        approved=approved,
        approved_map=TempoMap.from_json(approved.map) if approved else None,
        is_current=bool(approved and check and approved.check_seen_id == check.pk),
        reasons=services.reasons_against(song),
        is_decided=song.stage in (SongStage.ON_DESK, SongStage.WITH_CLIENT),
        broke_off=broken_off(song, check),
        unmeasured=[source for source in sources if source.is_unmeasured],
        files_say=files_say(sources, check),
    )


def broken_off(song: Song, check: SongCheck | None) -> SongCheck | None:
    """The last check, when it failed after the last that got through."""
    broken = song.checks.exclude(broke_off_at=None).order_by("-broke_off_at")
    if check is not None:
        broken = broken.filter(broke_off_at__gt=check.made_at or check.began_at)
    return broken.first()


def gravest_first(findings: Iterable[Finding], tempo_map: TempoMap | None) -> list[FindingShown]:
    """Stops before questions before notes; among equals the song's own first, then by place."""
    ranked = sorted(
        findings,
        key=lambda one: (
            SEVERITY_ORDER.index(Severity(one.severity)),
            one.source is not None,
            one.place.get("time_s") or 0.0,
            one.pk,
        ),
    )
    return [shown(one, tempo_map) for one in ranked]


def shown(finding: Finding, tempo_map: TempoMap | None) -> FindingShown:
    """In the drummer's words, its place in bars as soon as there is a grid."""
    kind = KIND_BY_CODE[finding.code]
    place = Place.from_json(finding.place)
    place = _on_map(place, tempo_map) if tempo_map else place
    file = finding.source.name if finding.source else None
    return FindingShown(
        finding=finding,
        title=kind.title,
        sentence=fill(kind.drummer_sentence, file=file, place=place, value=finding.value),
        todo=kind.what_to_do,
        place=place_of(place),
        file=file or "",
        settled=settled_words(finding),
    )


def _on_map(place: Place, tempo_map: TempoMap) -> Place:
    """In the bars of the map that holds now: those stored with the finding are of the map that was measured."""
    if place.time_s is None or (place.bar or 0) < 1:
        return in_bars(place, tempo_map)
    return in_bars(replace(place, bar=None, beat=None), tempo_map)


def settled_words(finding: Finding) -> str:
    if finding.state == Finding.State.WAIVED:
        is_clients = finding.ended_by is not None and not finding.ended_by.is_drummer
        return f"{'Answered' if is_clients else 'Waived'} by {finding.ended_by}: {finding.reason}"
    if finding.resolved_by is not None:
        return f"Fixed by version {finding.resolved_by.version} of “{finding.resolved_by.name}”"
    return (finding.reason or "No longer found") if finding.state == Finding.State.RESOLVED else ""


def readings_of(measures: SongMeasures, meter: str) -> list[Reading]:
    """Other readings are straight grids: of a song whose tempo moves there is none to take with one press."""
    if measures.tempo.kind != "constant":
        return []
    return [reading_of(other, measures, meter) for other in measures.tempo.alternatives]


def reading_of(other: Alternative, measures: SongMeasures, meter: str) -> Reading:
    bar_one_s = other.bar_one_s if other.bar_one_s is not None else measures.bar_one.time_s or 0.0
    return Reading(
        bpm=carried_bpm(other.bpm),
        meter=other.meter or meter,
        bar_one_s=f"{bar_one_s:.6f}",
        label=", ".join(filter(None, [other.label, weight_words(other.weight)])),
    )


def weight_words(weight: float) -> str:
    percent = round(100 * weight)
    return f"{percent} %" if percent else ""


def overrule_form(sheet: SheetPage) -> OverruleForm:
    """Filled with what is approved, else with what was measured, else with what the client said."""
    return OverruleForm(initial=from_map(sheet.approved_map) if sheet.approved_map else from_check(sheet))


def tempo_words(tempo_map: TempoMap) -> str:
    """One tempo as it is; of a map that moves the slowest and the fastest, and into how many pieces it falls."""
    words = [map_tempo(tempo_map)]
    if len(tempo_map.segments) > 1:
        words.append(f"{len(tempo_map.segments)} segments")
    if free := len(tempo_map.free_stretches):
        words.append(f"{free} free passage{'s' if free > 1 else ''}")
    return ", ".join(words)


def meter_words(tempo_map: TempoMap) -> str:
    return ", ".join(dict.fromkeys(str(one.meter) for one in tempo_map.segments))


def from_map(tempo_map: TempoMap) -> dict[str, Any]:
    one = tempo_map.segment_at_bar(1)
    first = tempo_map.first_in_time if one.free else one
    return {
        "bpm": carried_bpm(float(first.bpm)),
        "meter": str(first.meter),
        "bar_one_s": decimal_s(float(tempo_map.bar_one_s)),
    }


def from_check(sheet: SheetPage) -> dict[str, Any]:
    measures, brief = sheet.measures, sheet.brief
    bpm = measures.tempo.bpm if measures and measures.tempo.bpm else brief.bpm if brief else None
    bar_one_s = measures.bar_one.time_s if measures else None
    return {
        "bpm": carried_bpm(bpm) if bpm else "",
        "meter": (brief.meter if brief else "") or sheet.meter or DEFAULT_METER,
        "bar_one_s": decimal_s(bar_one_s or 0.0),
    }


def decimal_s(seconds_s: float) -> Decimal:
    return Decimal(f"{seconds_s:.6f}").normalize() + 0
