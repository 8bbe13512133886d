"""What people state about the song besides its sound, in brief, file names, tags and MIDI: evidence with a weight."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from analysis.bars.readings import Reading
from analysis.core.reports import Brief, FileReport
from analysis.maps.tempo_map import TempoMap, TempoMapError

# How much likelier a reading is for agreeing: people are mostly, but not always, right about their song. A name or a
# tag may be left over from another version, so it weighs less than what the client wrote for this song. House choices,
# as are the share within which tempi agree and the most that all statements weigh together.
BRIEF_TEMPO, _MIDI_TEMPO, NAMED_TEMPO = 12.0, 12.0, 4.0
BRIEF_METER, _MIDI_METER = 5.0, 3.0
BRIEF_START = 2.5
# Whether the first beat begins a bar when the files start so.
_START_ON_BAR = {"bar-one": True, "count-in": True, "pickup": False}
_SAME_TEMPO = 0.012
_MOST_WEIGHT = 60.0
# Compound meters that are felt in the same beats.
_SAME_BAR = {"4/4": ("12/8",), "3/4": ("9/8",)}


@dataclass(frozen=True)
class Statements:
    """Stated tempi and meters with their weights; the MIDI file's map when there is one."""

    tempi: tuple[tuple[float, float], ...] = ()
    meters: tuple[tuple[str, float], ...] = ()
    tempo_map: TempoMap | None = None
    starts: str = "unknown"

    @property
    def bpm(self) -> float | None:
        """The tempo stated with most weight."""
        return max(self.tempi, key=lambda tempo: tempo[1])[0] if self.tempi else None

    def sign_for(self, sign: str) -> str:
        """How the client writes a bar of these felt beats: 4/4 played in thirds may be their 12/8."""
        for stated, _ in self.meters:
            if stated in _SAME_BAR.get(sign, ()):
                return stated
        return sign

    def weight(self, reading: Reading) -> float:
        weight = 1.0
        for bpm, factor in self.tempi:
            if abs(reading.bpm / bpm - 1) < _SAME_TEMPO:
                weight *= factor
        for sign, factor in self.meters:
            if sign in (reading.meter.sign, *_SAME_BAR.get(reading.meter.sign, ())):
                weight *= factor
        if self.starts in _START_ON_BAR and _START_ON_BAR[self.starts] == (reading.bar_s == reading.beat_s):
            weight *= BRIEF_START
        return min(weight, _MOST_WEIGHT)


def gather_statements(brief: Brief, reports: Sequence[FileReport]) -> Statements:
    """One vote a source: ten stems named alike say it once."""
    tempi: dict[tuple[str, float], float] = {}
    meters: dict[tuple[str, str], float] = {}
    tempo_map = None
    if brief.bpm:
        tempi["brief", brief.bpm] = BRIEF_TEMPO
    if brief.meter:
        meters["brief", brief.meter] = BRIEF_METER
    for report in reports:
        stated = report.metadata
        for key, factor in (("name_bpm", NAMED_TEMPO), ("tag_bpm", NAMED_TEMPO), ("midi_bpm", _MIDI_TEMPO)):
            if isinstance(bpm := stated.get(key), (int, float)) and bpm > 0:
                tempi[key, float(bpm)] = factor
        if isinstance(sign := stated.get("midi_meter"), str):
            meters["midi", sign] = _MIDI_METER
        if tempo_map is None and "midi_map" in stated:
            tempo_map = map_stated(stated["midi_map"])
    return Statements(
        tuple((bpm, factor) for (_, bpm), factor in tempi.items()),
        tuple((sign, factor) for (_, sign), factor in meters.items()),
        tempo_map,
        brief.starts,
    )


def map_stated(data: object) -> TempoMap | None:
    """A map as a file states it; None where it states none that can be."""
    if not isinstance(data, dict):
        return None
    try:
        return TempoMap.from_json(data)
    except TempoMapError:
        return None
