"""What a session pack is made from, and whether one that was made is older than that."""

from __future__ import annotations

import hashlib
import json
from dataclasses import dataclass, field
from fractions import Fraction
from typing import Any

from analysis import ENGINE_VERSION
from analysis.core import FileReport
from analysis.maps import Marker, TempoMap
from analysis.session import NameParts, SessionSettings, pack_names
from portal.bookings.models import Song
from portal.charts.drawn import packed_files
from portal.intake.models import ApprovedMap, SourceFile
from portal.lanes.page import sections_of, word_on_sections
from portal.prep.choices import settings_for
from portal.prep.errors import PrepError
from portal.prep.models import SessionPack

# Raised when the same inputs come to give other bytes.
PACK_VERSION = 1
NO_MAP = "There is no approved tempo map yet: a session pack needs to know where bar one is."
STILL_CHECKED = "A file of this song is still being measured. Make the pack when the files are checked."
NO_FILES = "No file of this song can be used in a session pack."


@dataclass(frozen=True)
class PackInputs:
    """`names` are those of the files in the pack, in the order of `sources`; `sections` are in the song's bars,
    `word_on_sections` what is to be known of them; `chart` holds names and keys of the engraved chart's files."""

    approved: ApprovedMap
    settings: SessionSettings
    shared: NameParts
    sources: tuple[SourceFile, ...]
    click_name: str
    names: tuple[str, ...]
    left_out: tuple[tuple[str, str], ...]
    sections: tuple[Marker, ...]
    chart: tuple[tuple[str, str], ...]
    word_on_sections: str
    fingerprint: str = field(compare=False)

    @property
    def source_list(self) -> list[list[str]]:
        return [[source.name, source.sha256] for source in self.sources]

    def size_bytes(self, frames: int) -> int:
        """Of the sound, the mono click included."""
        channels = 1 + sum(_report(source).channels or 1 for source in self.sources)
        return frames * channels * self.settings.bit_depth // 8

    @property
    def estimated_frames(self) -> int:
        """Before it is planned: the longest file, and all that may come before it."""
        bars = self.settings.start_bar + self.settings.count_in_bars
        lead_s = bars * tempo_map_of(self.approved).first_in_time.bar_s
        longest_s = max(length_s(source) for source in self.sources)
        return int((longest_s + lead_s) * self.settings.sample_rate_hz) + 1


def inputs_of(song: Song) -> PackInputs:
    """Raises PrepError with a sentence where no pack can be made."""
    approved = song.maps.first()
    if approved is None:
        raise PrepError(NO_MAP)
    sources, left_out = _usable(song)
    if not sources:
        raise PrepError(NO_FILES)
    settings = settings_for(approved)
    shared = _shared(song, approved, settings)
    click_name, names = pack_names(settings.name_template, shared, [source.name for source in sources])
    sections = tuple(Marker(item["bar"], item["label"]) for item in sections_of(song, tempo_map_of(approved)))
    inputs: list[Any] = [PACK_VERSION, ENGINE_VERSION, settings.to_json(), shared.to_json(), approved.map, left_out]
    inputs += [[[source.name, source.sha256] for source in sources], [[one.bar, one.text] for one in sections]]
    chart = packed_files(song)
    inputs += [chart] if chart else []
    word = word_on_sections(song)
    inputs += [word] if word else []
    fingerprint = hashlib.sha256(json.dumps(inputs).encode()).hexdigest()
    return PackInputs(
        approved,
        settings,
        shared,
        tuple(sources),
        click_name,
        tuple(names),
        tuple(left_out),
        sections,
        tuple(chart),
        word,
        fingerprint,
    )


def _usable(song: Song) -> tuple[list[SourceFile], list[tuple[str, str]]]:
    """Every file that sounds, once; of the others, names and why."""
    usable: list[SourceFile] = []
    left_out: list[tuple[str, str]] = []
    names_by_hash: dict[str, str] = {}
    for source in song.sources.current():
        if source.status == SourceFile.Status.RECEIVED:
            raise PrepError(STILL_CHECKED)
        why = _why_not(source, names_by_hash)
        if why:
            left_out.append((source.name, why))
        else:
            names_by_hash[source.sha256] = source.name
            usable.append(source)
    return usable, left_out


def _why_not(source: SourceFile, names_by_hash: dict[str, str]) -> str:
    if source.gone_at:
        return "it was removed by the house at the end of its time"
    if source.status != SourceFile.Status.SURVEYED or not _report(source).frames:
        return source.refusal or "it holds no sound"
    if _report(source).is_silent:
        return "it is silent from beginning to end"
    if source.sha256 in names_by_hash:
        return f"it is the same file as “{names_by_hash[source.sha256]}”"
    return ""


def _shared(song: Song, approved: ApprovedMap, settings: SessionSettings) -> NameParts:
    member = song.booking.members.select_related("user").order_by("pk").first()
    return NameParts(
        client=member.user.name if member else "",
        song=song.title,
        drummer=approved.approved_by.name,
        version=approved.version,
        sample_rate_hz=settings.sample_rate_hz,
        bit_depth=settings.bit_depth,
    )


def _report(source: SourceFile) -> FileReport:
    return source.numbers or FileReport(source.name, source.sha256)


def channels_of(source: SourceFile) -> int:
    return _report(source).channels or 1


def length_s(source: SourceFile) -> Fraction:
    report = _report(source)
    return Fraction(report.frames or 0, report.sample_rate_hz or 1)


def tempo_map_of(approved: ApprovedMap) -> TempoMap:
    return TempoMap.from_json(approved.map)


def why_older(pack: SessionPack, inputs: PackInputs) -> str:
    """In words what changed since the pack was asked for; empty when nothing did."""
    if pack.fingerprint == inputs.fingerprint:
        return ""
    if pack.approved_map_id != inputs.approved.pk:
        made_from, counts = pack.approved_map.version, inputs.approved.version
        return f"It is older than the tempo map: it was made from map {made_from}, and map {counts} counts."
    if pack.sources != inputs.source_list:
        return "It is older than the files: one was added, replaced, removed or renamed since."
    if pack.settings != inputs.settings.to_json():
        return "The choices for clicks and packs have changed since."
    return "The chart, names, sections or Kitpost itself have changed since."
