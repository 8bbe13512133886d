"""Files that are sent along and are no sound: charts, pictures, notes, and MIDI, which is evidence for the tempo.

A document is known by its content and by a name that owns up to it: a PDF called `bass.wav` is a mistake.
"""

from __future__ import annotations

import dataclasses
from pathlib import Path, PurePath
from typing import Any

from analysis.core.errors import NotAudioError
from analysis.core.reports import FileReport
from analysis.findings.catalogue import make_finding
from analysis.maps.midi import MidiError, read_midi

_MIDI = "a MIDI file"
_CONTAINERS = {"a PDF document": "pdf", "a picture": "picture", "a text file": "text", _MIDI: "midi"}
_ENDINGS = {
    "pdf": (".pdf",),
    "picture": (".png", ".jpg", ".jpeg", ".gif"),
    "text": (".txt", ".md"),
    "midi": (".mid", ".midi", ".smf"),
}
# More markers than a song has sections, by far (house choice).
_MOST_MARKERS = 200


def document_report(report: FileReport, path: Path, error: NotAudioError) -> FileReport | None:
    """The report of a document, or None when this file was meant to be sound."""
    container = _CONTAINERS.get(error.is_called or "")
    if container is None or PurePath(report.name).suffix.lower() not in _ENDINGS[container]:
        return None
    metadata: dict[str, Any] = {}
    reason = f"is {error.is_called}, stored with the song"
    if container == "midi":
        try:
            metadata = _midi_evidence(path)
        except MidiError as midi_error:
            reason = f"is a MIDI file, but {midi_error}"
    finding = make_finding("document", file=report.name, value={"reason": reason})
    return dataclasses.replace(report, container=container, metadata=metadata, findings=(finding,))


def _midi_evidence(path: Path) -> dict[str, Any]:
    """Tempo map, tempo, meter and markers, as far as the file states them."""
    facts = read_midi(path)
    first = facts.tempo_map.first_in_time
    evidence: dict[str, Any] = {"midi_map": facts.tempo_map.to_json()}
    if facts.states_tempo and len({segment.bpm for segment in facts.tempo_map.segments if not segment.free}) == 1:
        evidence["midi_bpm"] = float(first.bpm)
    if facts.states_meter:
        evidence["midi_meter"] = str(first.meter)
    evidence["midi_markers"] = [{"bar": marker.bar, "text": marker.text} for marker in facts.markers[:_MOST_MARKERS]]
    return evidence
