"""Measurements + brief + Limits → findings. Knows thresholds and order, measures nothing."""

from __future__ import annotations

from collections.abc import Callable, Iterator

from analysis.core.reports import FileReport, Finding, Place
from analysis.core.thresholds import Limits
from analysis.core.units import dbfs_from_amplitude, seconds_as_clock
from analysis.findings.catalogue import Severity, make_finding

# A rate this many times the spectrum's edge was made from a lower one: an ordinary converter passes 0.45 of its rate
# (1 / 0.45 is 2.2; house choice).
_UPSAMPLED_RATIO = 2.5
# The header of a lossy file often only estimates the length, from its bit rate: less than this share says nothing
# (house choice).
_ESTIMATED_SHARE = 0.01
# What a clipped file says besides is the same thing again: one cause, one finding.
_SAID_BY_CLIPPED = frozenset({"true-peak-over", "dc-offset", "squashed"})


def unusable_finding(name: str, *, code: str, reason: str) -> Finding:
    return make_finding(code, file=name, value={"reason": reason})


def file_findings(report: FileReport, limits: Limits) -> tuple[Finding, ...]:
    """All that one file's numbers say about it alone, gravest first."""
    found = [finding for rule in _PLAIN_RULES for finding in rule(report)]
    found += [finding for rule in _LIMIT_RULES for finding in rule(report, limits)]
    if any(finding.code == "clipped" and finding.severity != Severity.NOTE.value for finding in found):
        found = [finding for finding in found if finding.code not in _SAID_BY_CLIPPED]
    return tuple(sorted(found, key=lambda finding: list(Severity).index(Severity(finding.severity))))


def cut_short(report: FileReport) -> Iterator[Finding]:
    lost_frames = max(0, (report.declared_frames or 0) - (report.frames or 0))
    missing = _what_is_missing(report, lost_frames)
    if missing:
        yield make_finding(
            "cut-short",
            file=report.name,
            place=Place(time_s=report.duration_s),
            value={"missing": missing, "missing_bytes": report.missing_bytes, "lost_frames": lost_frames},
        )


def _what_is_missing(report: FileReport, lost_frames: int) -> str | None:
    rate_hz = report.sample_rate_hz or 1
    if report.missing_bytes:
        return f"its header announces {_megabytes(report.missing_bytes)} more than there are"
    if report.unclaimed_bytes:
        return f"its header counts {_megabytes(report.unclaimed_bytes)} less than there are, as WAV over 4 GB does"
    declared = report.declared_frames or 0
    enough = max(rate_hz // 10, round(_ESTIMATED_SHARE * declared) if report.lossy else 0)
    if lost_frames > enough or (report.broke_off and lost_frames):
        whole_s = declared / rate_hz
        return f"{seconds_as_clock(lost_frames / rate_hz)} of {seconds_as_clock(whole_s)} are missing"
    return "the rest cannot be decoded" if report.broke_off else None


def _megabytes(count: int) -> str:
    return f"{count / 1e6:.1f} MB" if count >= 1e6 else f"{count} bytes"


def _bad_values(report: FileReport) -> Iterator[Finding]:
    if report.bad_values:
        place = Place(time_s=report.bad_value_s)
        yield make_finding("bad-values", file=report.name, place=place, value={"count": report.bad_values})


def _silent(report: FileReport) -> Iterator[Finding]:
    if report.is_silent:
        yield make_finding("silent", file=report.name)


def _clipped(report: FileReport, limits: Limits) -> Iterator[Finding]:
    """One finding a file, however many runs; a limiter's ceiling on a finished mix is no reason to stop."""
    clip = report.clipped
    if not clip.runs or report.sample_rate_hz is None:
        return
    longest_s = clip.longest_frames / report.sample_rate_hz
    if clip.runs >= limits.clipped_stop_runs and longest_s >= limits.clipped_stop_run_s:
        severity = Severity.STOP
    elif clip.runs <= limits.clipped_note_runs or longest_s < limits.clipped_stop_run_s:
        severity = Severity.NOTE
    else:
        severity = Severity.ASK
    worst = max(clip.events, key=lambda event: (event.longest_frames, event.runs))
    yield make_finding(
        "clipped",
        file=report.name,
        place=Place(time_s=worst.start_s, end_s=worst.end_s),
        severity=severity,
        value={
            "places": len(clip.events),
            "runs": clip.runs,
            "longest_frames": clip.longest_frames,
            "level_dbfs": clip.level_dbfs,
        },
    )


def _over_full_scale(report: FileReport) -> Iterator[Finding]:
    if report.sample_peak_dbfs is not None and report.sample_peak_dbfs > 0.0 and not report.lossy:
        yield make_finding("over-full-scale", file=report.name, value={"over_db": report.sample_peak_dbfs})


def _true_peak_over(report: FileReport, limits: Limits) -> Iterator[Finding]:
    sample_peak, true_peak = report.sample_peak_dbfs, report.true_peak_dbtp
    if true_peak is None or sample_peak is None or true_peak <= limits.true_peak_over_dbtp or sample_peak > 0.0:
        return
    value = {"sample_peak_dbfs": sample_peak, "true_peak_dbtp": true_peak}
    yield make_finding("true-peak-over", file=report.name, value=value)


def _dc_offset(report: FileReport, limits: Limits) -> Iterator[Finding]:
    offset = abs(report.dc_offset or 0.0)
    if offset >= limits.dc_note and offset > limits.dc_errors * (report.dc_error or 0.0):
        value = {"dc_dbfs": dbfs_from_amplitude(offset), "dc_offset": report.dc_offset}
        yield make_finding("dc-offset", file=report.name, value=value)


def _low_level(report: FileReport, limits: Limits) -> Iterator[Finding]:
    peak = report.sample_peak_dbfs
    if peak is not None and peak < limits.low_level_dbfs and not report.is_silent:
        yield make_finding("low-level", file=report.name, value={"sample_peak_dbfs": peak})


def _padded_bits(report: FileReport) -> Iterator[Finding]:
    used, stored = report.significant_bits, report.bit_depth
    # Fewer than 8 unused bits are a quiet file with few values or an old converter: nothing to look for.
    if used is not None and stored is not None and stored - used >= 8 and not report.is_silent:
        yield make_finding("padded-bits", file=report.name, value={"significant_bits": used, "bit_depth": stored})


def _lossy(report: FileReport) -> Iterator[Finding]:
    if report.lossy:
        yield make_finding("lossy-file", file=report.name, value={"codec": report.codec})


def _spectral_edge(report: FileReport, limits: Limits) -> Iterator[Finding]:
    edge_hz, rate_hz = report.spectral_edge_hz, report.sample_rate_hz
    if edge_hz is None or rate_hz is None or report.lossy:
        return
    if limits.lossy_edge_lowest_hz <= edge_hz <= limits.lossy_edge_highest_hz:
        yield make_finding("lossy-origin", file=report.name, value={"edge_hz": edge_hz})
    elif edge_hz > limits.lossy_edge_highest_hz and rate_hz > _UPSAMPLED_RATIO * edge_hz:
        yield make_finding("upsampled", file=report.name, value={"edge_hz": edge_hz, "sample_rate_hz": rate_hz})


def _channels(report: FileReport) -> Iterator[Finding]:
    if report.channel_fault:
        value = {"correlation": report.channel_correlation, "side": report.sounding_side}
        yield make_finding(report.channel_fault, file=report.name, value=value)


def _dropouts(report: FileReport) -> Iterator[Finding]:
    if report.dropouts:
        first = report.dropouts[0]
        value = {"places": len(report.dropouts), "duration_ms": 1000.0 * first.duration_s, "kind": first.kind}
        yield make_finding("dropout", file=report.name, place=Place(time_s=first.start_s), value=value)


def _squashed(report: FileReport, limits: Limits) -> Iterator[Finding]:
    if report.true_peak_dbtp is None or report.loudness_lufs is None or report.is_click:
        return
    plr_lu = report.true_peak_dbtp - report.loudness_lufs
    if plr_lu < limits.squashed_plr_lu:
        yield make_finding("squashed", file=report.name, value={"plr_lu": plr_lu})


_FileRule = Callable[[FileReport], Iterator[Finding]]
_LimitRule = Callable[[FileReport, Limits], Iterator[Finding]]
_PLAIN_RULES: tuple[_FileRule, ...] = (
    cut_short,
    _bad_values,
    _silent,
    _over_full_scale,
    _padded_bits,
    _lossy,
    _channels,
    _dropouts,
)
_LIMIT_RULES: tuple[_LimitRule, ...] = (
    _clipped,
    _true_peak_over,
    _dc_offset,
    _low_level,
    _spectral_edge,
    _squashed,
)
