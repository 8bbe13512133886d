"""What shows only when a song's files lie side by side: the same one twice, other rates, depths, lengths and starts."""

from __future__ import annotations

import dataclasses
import re
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Protocol, TypeVar

import numpy as np

from analysis.core.reports import FileReport, Finding, Place
from analysis.core.thresholds import Limits
from analysis.core.units import seconds_as_clock
from analysis.features.feature_arrays import Features
from analysis.findings.catalogue import Severity, make_finding
from analysis.lineup.missing_from_stems import missing_spans, mix_among
from analysis.lineup.rate_labels import wrong_labels
from analysis.lineup.starts import Source, Start, find_starts
from analysis.media.windows import activity_of

_T = TypeVar("_T")
# So many places are named in the sentence, the others counted (house choice).
_SPANS_SAID = 3
_NAMED_DRUMS = re.compile(
    r"(?<![a-z])(drums?|kit|kick|snare|hats?|hi[ _-]?hat|toms?|cymbals?|overheads?|oh|perc(ussion)?|loops?)(?![a-z])",
    re.I,
)
# Lags that encoders and decoders are known for, in frames at the file's own rate.
# Source: LAME technical FAQ (June 2000); Apple TN2258; ISO/IEC 14496-12; 1681 and 1688: 1152 or 1160 + 528.
CODEC_DELAYS = {
    529: "the delay of an MP3 decoder",
    576: "the delay of an MP3 encoder",
    1105: "the delay of MP3 encoder and decoder together",
    1152: "one MP3 frame",
    1681: "an MP3 frame and the decoder's delay",
    1688: "the delay of another family of MP3 encoders",
    1024: "one AAC frame",
    2112: "the usual delay of AAC encoders",
    312: "the pre-skip of Opus",
}


class Surveyed(Protocol):
    """What is compared: a file's report and features; `path` is None where its samples cannot be read again."""

    @property
    def report(self) -> FileReport: ...
    @property
    def features(self) -> Features: ...
    @property
    def path(self) -> Path | None: ...


@dataclass(frozen=True)
class Comparison:
    """The files' reports with what the comparison adds to them, and findings in the order of the files."""

    reports: tuple[FileReport, ...]
    findings: tuple[Finding, ...]


def compare_files(files: Sequence[Surveyed], *, limits: Limits | None = None) -> Comparison:
    """Compare the files of one song. Files that could not be measured are left out of every comparison.

    Parameters
    ----------
    files : sequence of Surveyed
        A report, features and, where samples may be read again, the path of each file.
    limits : Limits, optional

    Returns
    -------
    Comparison
        As many reports as files, in their order.
    """
    limits = limits or Limits()
    reports = [file.report for file in files]
    measured = [report for report in reports if report.frames]
    sources = {index: source for index, file in enumerate(files) if (source := _source(file))}
    starts = _starts(sources, len(files), limits)
    true_rates = wrong_labels(sources, starts, limits)
    wrong = {reports[index].name for index in true_rates}
    findings = [*_duplicates(measured), *_mislabelled(reports, true_rates), *_depths(measured)]
    findings += [finding for finding in (*_rates(measured), *_lengths(measured, limits)) if finding.file not in wrong]
    findings += _start_findings(reports, starts, limits)
    if not true_rates:
        findings += _missing_from_stems(files, sources, starts, limits)
    findings += guide_drums(measured, limits)
    same_as = {finding.file: finding.value["other_file"] for finding in findings if finding.code == "duplicate"}
    reports = [
        dataclasses.replace(
            report,
            identical_to=same_as.get(report.name),
            start_offset_frames=start.offset_frames if start else report.start_offset_frames,
        )
        for report, start in zip(reports, starts, strict=True)
    ]
    return Comparison(tuple(reports), tuple(findings))


def guide_drums(reports: Sequence[FileReport], limits: Limits) -> Iterator[Finding]:
    """Drums in a file that is not named after them: a question where they are likely, else a note to whoever listens.

    Judged here and not of a file alone: a click sounds much like drums, and is known only when all files are there.
    """
    for report in reports:
        drums = report.drums
        if drums.present and not report.is_click and not _NAMED_DRUMS.search(report.name):
            severity = Severity.ASK if drums.confidence >= limits.drums_ask else Severity.NOTE
            value = {"confidence": drums.confidence}
            yield make_finding("has-drums", file=report.name, severity=severity, value=value)


def _most_common(values: Sequence[_T]) -> _T | None:
    return Counter(values).most_common(1)[0][0] if values else None


def _duplicates(reports: Sequence[FileReport]) -> Iterator[Finding]:
    """Equal decoded audio, whatever container. Silent files are all alike and mean nothing."""
    first: dict[str, str] = {}
    for report in reports:
        if report.audio_digest is None or report.is_silent:
            continue
        if report.audio_digest in first:
            yield make_finding("duplicate", file=report.name, value={"other_file": first[report.audio_digest]})
        first.setdefault(report.audio_digest, report.name)


def _rates(reports: Sequence[FileReport]) -> Iterator[Finding]:
    expected = _most_common([report.sample_rate_hz for report in reports])
    for report in reports:
        if report.sample_rate_hz != expected:
            value = {"sample_rate_hz": report.sample_rate_hz, "expected_hz": expected}
            yield make_finding("rate-differs", file=report.name, value=value)


def _depths(reports: Sequence[FileReport]) -> Iterator[Finding]:
    lossless = [report for report in reports if report.bit_depth is not None]
    expected = _most_common([report.bit_depth for report in lossless])
    for report in lossless:
        if report.bit_depth != expected:
            value = {"bit_depth": report.bit_depth, "expected_bits": expected}
            yield make_finding("depth-differs", file=report.name, value=value)


def _lengths(reports: Sequence[FileReport], limits: Limits) -> Iterator[Finding]:
    """Against the length that most files share; where none is shared, against the longest, and only once.

    A file that is cut short has said so already.
    """
    reports = [report for report in reports if not any(item.code == "cut-short" for item in report.findings)]
    if len(reports) < 2:
        return
    durations = [report.duration_s or 0.0 for report in reports]
    votes = [sum(abs(one - other) <= limits.length_differs_s for other in durations) for one in durations]
    expected_s = durations[int(np.argmax(votes))]
    odd = [report for report in reports if abs((report.duration_s or 0.0) - expected_s) > limits.length_differs_s]
    if max(votes) * 2 < len(reports):
        expected_s = max(durations)
        odd = [min(reports, key=lambda report: report.duration_s or 0.0)]
    for report in odd:
        difference_s = (report.duration_s or 0.0) - expected_s
        value = {
            "difference_s": abs(difference_s),
            "longer_or_shorter": "longer" if difference_s > 0 else "shorter",
            "duration_s": report.duration_s,
            "expected_s": expected_s,
        }
        yield make_finding("length-differs", file=report.name, value=value)


def _mislabelled(reports: Sequence[FileReport], true_rates_hz: dict[int, int]) -> Iterator[Finding]:
    for index, true_rate_hz in true_rates_hz.items():
        value = {"sample_rate_hz": reports[index].sample_rate_hz, "true_rate_hz": true_rate_hz}
        yield make_finding("rate-mislabelled", file=reports[index].name, value=value)


def _starts(sources: dict[int, Source], count: int, limits: Limits) -> list[Start | None]:
    starts: list[Start | None] = [None] * count
    chosen = list(sources)
    for index, start in zip(chosen, find_starts(list(sources.values()), limits), strict=True):
        starts[index] = dataclasses.replace(start, against=chosen[start.against]) if start else None
    return starts


def _source(file: Surveyed) -> Source | None:
    """Clicks and silence say nothing about starts; what cannot be read again is left alone."""
    report, energy = file.report, file.features.energy_1ms
    if file.path is None or report.sample_rate_hz is None or report.loudness_lufs is None or report.is_click:
        return None
    per_second = max(1, round(file.features.energy_rate_hz))
    whole = len(energy) // per_second * per_second
    seconds = energy[:whole].reshape(-1, per_second).mean(axis=1) if whole else np.ones(1, np.float32)
    return Source(
        file.path, report.sample_rate_hz, activity_of(seconds), report.loudness_lufs, report.duration_s or 0.0
    )


def _start_findings(reports: Sequence[FileReport], starts: Sequence[Start | None], limits: Limits) -> Iterator[Finding]:
    for report, start in zip(reports, starts, strict=True):
        if start is None or report.sample_rate_hz is None or abs(start.offset_frames) <= limits.start_differs_frames:
            continue
        value = _offset_value(start, report.sample_rate_hz, reports[start.against].name)
        delay = codec_delay(start.offset_frames, limits) if report.lossy else None
        if delay is not None:
            yield make_finding("codec-delay", file=report.name, value=value | {"delay_name": delay})
        else:
            small = abs(start.offset_frames) < limits.start_stop_s * report.sample_rate_hz
            severity = Severity.NOTE if small else None
            yield make_finding("start-differs", file=report.name, severity=severity, value=value)


def _missing_from_stems(
    files: Sequence[Surveyed], sources: dict[int, Source], starts: Sequence[Start | None], limits: Limits
) -> Iterator[Finding]:
    mix = mix_among(starts)
    # The mix may hold what clipping cut off a stem: then what is left over tells of no missing part.
    if mix is None or any(_is_clipped(files[index].report) for index in sources if index != mix):
        return
    spans = missing_spans(mix, sources, [file.features for file in files], starts, limits)
    if not spans:
        return
    words = [f"from {seconds_as_clock(span.start_s)} to {seconds_as_clock(span.end_s)}" for span in spans[:_SPANS_SAID]]
    more = f" and in {len(spans) - _SPANS_SAID} more places" if len(spans) > _SPANS_SAID else ""
    yield make_finding(
        "missing-from-stems",
        file=files[mix].report.name,
        place=Place(time_s=spans[0].start_s, end_s=spans[0].end_s),
        value={"span": ", ".join(words) + more, "spans_s": [[span.start_s, span.end_s] for span in spans]},
    )


def _is_clipped(report: FileReport) -> bool:
    """Whether enough was cut off to be asked about: a few peaks change no sum."""
    return any(said.code == "clipped" and said.severity != Severity.NOTE.value for said in report.findings)


def _offset_value(start: Start, sample_rate_hz: int, other: str) -> dict[str, Any]:
    return {
        "offset_frames": abs(start.offset_frames),
        "offset_ms": 1000.0 * abs(start.offset_frames) / sample_rate_hz,
        "later_or_earlier": "later" if start.offset_frames > 0 else "earlier",
        "other_file": other,
        "confidence": start.confidence,
        "polarity": start.polarity,
    }


def codec_delay(offset_frames: int, limits: Limits) -> str | None:
    """The name of a known delay within the tolerance; the nearest if two are."""
    nearest = min(CODEC_DELAYS, key=lambda delay: abs(offset_frames - delay))
    return CODEC_DELAYS[nearest] if abs(offset_frames - nearest) <= limits.codec_delay_tolerance_frames else None
