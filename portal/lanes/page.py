"""Everything that the score of a song is drawn from, in one answer; the sound itself is asked for in parts."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any

from django.urls import reverse

from analysis.core import FileReport
from analysis.findings import KIND_BY_CODE
from analysis.maps import ClickStyle, TempoMap, bars_of, beats_of
from portal.bookings.models import Song
from portal.intake.maps.page import duration_of, playing_by_bar
from portal.intake.maps.song_maps import map_of_song
from portal.intake.models import Finding, SourceFile
from portal.lanes import hooks
from portal.lanes.clicks import click_address
from portal.lanes.models import PlayCopy


def lanes_page(song: Song) -> dict[str, Any]:
    tempo_map, lanes = map_of_song(song), lanes_of(song)
    duration_s = max((lane["duration_s"] for lane in lanes), default=0.0)
    marks = [one for one in song.findings.open() if one.source_id is None and one.place.get("time_s") is not None]
    return {
        "duration_s": duration_s,
        "lanes": lanes,
        "bars": list(bars_of(tempo_map, duration_s)),
        "beats_s": beats_of(tempo_map, duration_s),
        "click_sounds": click_address(ClickStyle()),
        "sections": list(sections_of(song, tempo_map)),
        "last_bar": last_bar_of(song),
        "marks": [mark_of(one) for one in marks],
        "is_approved": song.maps.exists(),
        "playing": reverse("lanes:playing", args=[song.pk]) if tempo_map else "",
    }


def playing_of(song: Song) -> dict[str, Any]:
    """How late the playing is in each bar: an answer of its own, because it reads every file's attacks."""
    tempo_map = map_of_song(song)
    return {"bars": playing_by_bar(song, tempo_map, duration_of(song)) if tempo_map else []}


def lanes_of(song: Song) -> list[dict[str, Any]]:
    sources = [one for one in song.sources.current().select_related("play_copy") if one.features_key and one.numbers]
    findings, check = list(song.findings.open()), song.checks.done().first()
    clicks = check.click_names if check else set()
    return [
        lane_of(source, source.numbers, findings, is_click=source.name in clicks)
        for source in sources
        if source.numbers
    ]


def lane_of(source: SourceFile, numbers: FileReport, findings: Sequence[Finding], *, is_click: bool) -> dict[str, Any]:
    copy = getattr(source, "play_copy", None)
    made = copy if copy is not None and copy.state == PlayCopy.State.MADE else None
    return {
        "id": source.pk,
        "name": source.name,
        "is_click": is_click,
        "duration_s": numbers.duration_s or 0.0,
        "leading_silence_s": numbers.leading_silence_s or 0.0,
        "pyramid": reverse("lanes:pyramid", args=[source.pk]),
        "onsets": reverse("lanes:onsets", args=[source.pk]),
        "sound": reverse("lanes:sound", args=[source.pk]) if made else "",
        "sample_rate_hz": made.sample_rate_hz if made else numbers.sample_rate_hz or 0,
        "frames": made.frames if made else numbers.frames or 0,
        "trouble": copy.trouble if copy is not None else "",
        "marks": [
            *(mark_of(one) for one in findings if one.source_id == source.pk and one.place.get("time_s") is not None),
            *places_of(numbers),
        ],
    }


def mark_of(finding: Finding) -> dict[str, Any]:
    return {
        "id": finding.pk,
        "time_s": finding.place["time_s"],
        "end_s": finding.place.get("end_s"),
        "label": KIND_BY_CODE[finding.code].title,
        "severity": finding.severity,
    }


def places_of(numbers: FileReport) -> Iterator[dict[str, Any]]:
    """Where it clips and where it drops out, beyond the first place that a finding names."""
    for clip in numbers.clipped.events:
        yield {"id": None, "time_s": clip.start_s, "end_s": clip.end_s, "label": "Clipped", "severity": "place"}
    for gap in numbers.dropouts:
        yield {
            "id": None,
            "time_s": gap.start_s,
            "end_s": gap.start_s + gap.duration_s,
            "label": "Dropout",
            "severity": "place",
        }


def sections_of(song: Song, tempo_map: TempoMap | None) -> Iterator[dict[str, Any]]:
    """Those of the song's chart; where there is none, those that were measured with the song."""
    if tempo_map is None:
        return
    for bar, label in named_sections(song):
        yield {"label": label, "bar": bar, "time_s": float(tempo_map.time_of_bar(bar))}


def named_sections(song: Song) -> list[tuple[int, str]]:
    """Their first bars, and what they are called."""
    for sections in hooks.sections_of_chart:
        found = sections(song)
        if found is not None:
            return found
    check = song.checks.done().first()
    return [(section.start_bar, section.label) for section in check.numbers.song.sections] if check else []


def last_bar_of(song: Song) -> int | None:
    """Where the music ends: a file rings on behind it. None where no chart says."""
    return next((bar for last_bar in hooks.last_bar_of_chart if (bar := last_bar(song)) is not None), None)


def word_on_sections(song: Song) -> str:
    """What is to be known where the sections stand beside the bars; empty where nothing is."""
    return " ".join(filter(None, (word(song) for word in hooks.words_on_sections)))
