"""What names, tags and MIDI files state besides the sound, compared with what was measured.

They are evidence and no authority: a name may be a year old. Where they disagree, both values are shown.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from analysis.core.reports import FileReport, Finding, SongMeasures
from analysis.core.sentences import written
from analysis.core.thresholds import Limits
from analysis.findings.catalogue import make_finding
from analysis.maps.tempo_map import beat_name_of

_TEMPO_SOURCES = ("name_bpm", "tag_bpm", "midi_bpm")
_RATE_SOURCES = ("name_sample_rate_hz", "ixml_sample_rate_hz")
# The same pulse counted otherwise is no disagreement.
_SAME_PULSE = (1.0, 0.5, 2.0, 1.5, 2.0 / 3.0, 3.0, 1.0 / 3.0)


def stated_findings(reports: Sequence[FileReport], song: SongMeasures, limits: Limits) -> Iterator[Finding]:
    """Where a name, a tag or MIDI states another rate or tempo than was measured: one of each a file at most."""
    for report in reports:
        yield from _rate_disagrees(report)
        yield from _tempo_disagrees(report, song, limits)


def _rate_disagrees(report: FileReport) -> Iterator[Finding]:
    for source in _RATE_SOURCES:
        stated = report.metadata.get(source)
        if isinstance(stated, int) and report.sample_rate_hz and stated != report.sample_rate_hz:
            value = {
                "said": written("_hz", stated),
                "measured": written("_hz", report.sample_rate_hz),
                "source": source,
            }
            yield make_finding("evidence-disagrees", file=report.name, value=value)
            return


def _tempo_disagrees(report: FileReport, song: SongMeasures, limits: Limits) -> Iterator[Finding]:
    tempo = song.tempo
    if tempo.bpm is None or tempo.kind != "constant" or tempo.confidence < limits.tempo_sure:
        return
    for source in _TEMPO_SOURCES:
        stated = report.metadata.get(source)
        if isinstance(stated, float) and not _same_pulse(stated, tempo.bpm, limits.named_bpm_tolerance):
            value = {
                "said": written("_bpm", stated, beat=_beat_stated(report, source)),
                "measured": written("_bpm", round(tempo.bpm, 2), beat=beat_name_of(song.meter.sign)),
                "source": source,
            }
            yield make_finding("evidence-disagrees", file=report.name, value=value)
            return


def _beat_stated(report: FileReport, source: str) -> str:
    """A MIDI file says what it counts, a name or a tag does not."""
    return beat_name_of(str(report.metadata.get("midi_meter", ""))) if source == "midi_bpm" else ""


def _same_pulse(stated: float, measured: float, tolerance: float) -> bool:
    return any(abs(stated / (measured * level) - 1.0) <= tolerance for level in _SAME_PULSE)
