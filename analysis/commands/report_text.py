"""Reports as a person reads them in a terminal: what stops, then what was measured."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from analysis.commands.song_text import song_lines
from analysis.core.reports import FileReport, Finding, SongReport
from analysis.core.sentences import written
from analysis.core.units import seconds_as_clock
from analysis.findings.catalogue import KIND_BY_CODE

if TYPE_CHECKING:
    from analysis.delivery.check_results import Check, VerifyReport
    from analysis.delivery.feel_report import FeelReport, Offsets
    from analysis.handover.repair import RepairedFile
    from analysis.session.pack import PackReport

_MARKS = {"stop": "STOP", "ask": "ask ", "note": "note"}
_NOTHING = "–"
_DRUM_WORDS = {"low": "Kick", "middle": "Snare", "high": "Hat and cymbals"}


def song_text(report: SongReport) -> str:
    parts = ["\n".join(song_lines(report.song)), _table(report.files), _finding_lines(report.findings)]
    return "\n\n".join(part for part in parts if part)


_COLUMNS = ("file", "format", "length", "peak", "true peak", "LUFS", "starts")


def _table(files: Sequence[FileReport]) -> str:
    rows = [_COLUMNS, *(_file_row(file) for file in files)]
    widths = [max(len(row[column]) for row in rows) for column in range(len(_COLUMNS))]
    return "\n".join(
        "  ".join(cell.ljust(width) for cell, width in zip(row, widths, strict=True)).rstrip() for row in rows
    )


def _file_row(file: FileReport) -> tuple[str, ...]:
    if file.frames is None or file.sample_rate_hz is None:
        return (file.name, *[_NOTHING] * (len(_COLUMNS) - 1))
    depth = f"/{file.bit_depth}" if file.bit_depth else ""
    return (
        file.name,
        f"{file.codec} {written('_hz', file.sample_rate_hz)}{depth} {file.channels}ch",
        seconds_as_clock(file.duration_s or 0.0),
        _level(file.sample_peak_dbfs),
        _level(file.true_peak_dbtp),
        _level(file.loudness_lufs),
        _NOTHING if file.leading_silence_s is None else f"{file.leading_silence_s:.3f} s",
    )


def _level(value: float | None) -> str:
    return _NOTHING if value is None else f"{value:.1f}"


def _finding_lines(findings: Sequence[Finding]) -> str:
    if not findings:
        return "Nothing to report."
    lines = []
    for finding in findings:
        kind = KIND_BY_CODE[finding.code]
        lines += [f"{_MARKS[finding.severity]}  {kind.title}: {finding.message}", f"      {kind.what_to_do}"]
    return "\n".join(lines)


def arrival_text(arrived: Sequence[Check], checks: Sequence[Check]) -> str:
    """For whoever received a set: first whether it is what was sent; what is true of the set itself, its maker knew."""
    says = "Everything arrived as it was sent."
    if not all(check.passed for check in arrived):
        says = "Not everything arrived as it was sent."
    failed = sum(not check.passed for check in checks)
    count = f"{failed} check" if failed == 1 else f"{failed} checks"
    more = f" The set itself fails {count}, and nobody waived that." if failed else ""
    return "\n".join([*_check_lines([*arrived, *checks]), "", says + more])


def _check_lines(checks: Sequence[Check]) -> list[str]:
    return [f"{_mark(check)}  {check.message}" for check in checks]


def verify_text(report: VerifyReport) -> str:
    lines = _check_lines(report.checks)
    undecided = sum(check.undecided for check in report.checks)
    says = "The set is not ready."
    if report.passed:
        says = f"Nothing failed, but {undecided} could not be decided." if undecided else "The set is ready to deliver."
    return "\n".join([*lines, "", says])


def _mark(check: Check) -> str:
    if check.undecided:
        return "?   "
    return "ok  " if check.passed else "FAIL"


def feel_text(report: FeelReport) -> str:
    """Line by line; a trend is said where there is one."""
    lines = ["All of it:", *_offset_lines(report.overall)]
    for section in report.sections:
        lines += [
            f"Bars {section.start_bar} to {section.start_bar + section.bars - 1}:",
            *_offset_lines(section.offsets),
        ]
    return "\n".join(lines)


def _offset_lines(offsets: Sequence[Offsets]) -> list[str]:
    lines = []
    for one in offsets:
        way = "behind" if one.median_ms > 0 else "ahead"
        trend = ""
        if one.trend_ms is not None:
            trend = f", {written('_ms', abs(one.trend_ms))} {'later' if one.trend_ms > 0 else 'earlier'} at the end"
        lines.append(
            f"  {_DRUM_WORDS[one.band]}: {written('_ms', abs(one.median_ms))} {way}, "
            f"spread {written('_ms', one.spread_ms)}, {one.attacks} strokes{trend}"
        )
    return lines


def repair_text(files: Sequence[RepairedFile]) -> str:
    lines = [line for file in files for line in file.lines]
    same = sum(not file.lines for file in files)
    return "\n".join([*lines, f"{same} of {len(files)} files were written as they are. The originals are untouched."])


def conform_text(report: PackReport) -> str:
    lines = [f"{item.name} → {item.out}: moved by {written('_frames', item.shift_frames)}" for item in report.files]
    lines += [f"{name}: left out: {why}" for name, why in report.left_out]
    return "\n".join([*lines, f"All are {report.frames} frames long; bar one is at frame {report.bar_one_frame}."])
