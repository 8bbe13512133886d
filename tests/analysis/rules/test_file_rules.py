"""One file's numbers become findings. From sound itself: `tests/analysis/measuring/test_survey.py`."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from analysis.core.reports import Clipped, ClippedEvent, Dropout, FileReport, Finding
from analysis.core.thresholds import Limits
from analysis.rules.file_rules import file_findings, unusable_finding

LIMITS = Limits()
FINE = FileReport(
    name="bass.wav",
    sha256="0",
    lossy=False,
    sample_rate_hz=48_000,
    bit_depth=24,
    significant_bits=24,
    frames=480_000,
    declared_frames=480_000,
    duration_s=10.0,
    sample_peak_dbfs=-6.0,
    true_peak_dbtp=-5.5,
    loudness_lufs=-20.0,
    spectral_edge_hz=None,
)


def findings_of(**changes: Any) -> tuple[Finding, ...]:
    return file_findings(replace(FINE, **changes), LIMITS)


def clipped(runs: int, longest_frames: int) -> Clipped:
    return Clipped(runs=runs, longest_frames=longest_frames, events=(ClippedEvent(2.0, 3.0, runs, longest_frames),))


def test_a_file_in_order_has_no_findings() -> None:
    assert findings_of() == ()


@pytest.mark.parametrize(
    ("changes", "code"),
    [
        ({"bad_values": 3, "bad_value_s": 1.0}, "bad-values"),
        ({"is_silent": True, "sample_peak_dbfs": None}, "silent"),
        ({"sample_peak_dbfs": 1.5, "true_peak_dbtp": 1.6}, "over-full-scale"),
        ({"significant_bits": 16}, "padded-bits"),
        ({"lossy": True, "codec": "mp3"}, "lossy-file"),
        ({"channel_fault": "dual-mono"}, "dual-mono"),
        ({"dropouts": (Dropout(4.0, 0.01, "hole"),)}, "dropout"),
        ({"true_peak_dbtp": 0.4, "sample_peak_dbfs": -0.1}, "true-peak-over"),
        ({"dc_offset": -0.02, "dc_error": 0.001}, "dc-offset"),
        ({"sample_peak_dbfs": -40.0, "true_peak_dbtp": -39.0, "loudness_lufs": -55.0}, "low-level"),
        ({"spectral_edge_hz": 16_000.0}, "lossy-origin"),
        ({"spectral_edge_hz": 22_000.0, "sample_rate_hz": 96_000}, "upsampled"),
        ({"loudness_lufs": -9.0, "true_peak_dbtp": -3.0}, "squashed"),
    ],
)
def test_each_fault_is_named_alone(changes: dict[str, Any], code: str) -> None:
    assert [finding.code for finding in findings_of(**changes)] == [code]


@pytest.mark.parametrize(
    ("runs", "longest_frames", "severity"), [(25, 10, "stop"), (25, 9, "note"), (4, 400, "note"), (5, 10, "ask")]
)
def test_clipping_stops_where_it_is_long_and_often(runs: int, longest_frames: int, severity: str) -> None:
    (finding,) = findings_of(clipped=clipped(runs, longest_frames))

    assert (finding.code, finding.severity, finding.place.time_s) == ("clipped", severity, 2.0)
    assert finding.value["runs"] == runs


def test_what_comes_of_clipping_is_not_told_again() -> None:
    faults = {"true_peak_dbtp": 0.5, "sample_peak_dbfs": 0.0, "dc_offset": 0.02, "dc_error": 0.001}

    assert {finding.code for finding in findings_of(**faults, clipped=clipped(25, 10))} == {"clipped"}
    assert {finding.code for finding in findings_of(**faults, clipped=clipped(1, 3))} == {
        "clipped",
        "true-peak-over",
        "dc-offset",
    }


@pytest.mark.parametrize(
    ("changes", "missing"),
    [
        ({"missing_bytes": 2_500_000}, "its header announces 2.5 MB more than there are"),
        ({"unclaimed_bytes": 900}, "its header counts 900 bytes less"),
        ({"frames": 240_000}, "0:05.0 of 0:10 are missing"),
        ({"broke_off": True}, "the rest cannot be decoded"),
    ],
)
def test_a_file_that_is_cut_short_says_what_is_missing(changes: dict[str, Any], missing: str) -> None:
    (finding,) = findings_of(**changes)

    assert (finding.code, finding.place.time_s) == ("cut-short", 10.0)
    assert finding.value["missing"].startswith(missing)


def test_the_gravest_comes_first() -> None:
    severities = [
        finding.severity
        for finding in findings_of(significant_bits=16, clipped=clipped(25, 10), channel_fault="one-sided")
    ]

    assert severities == sorted(severities, key=["stop", "ask", "note"].index)
    assert severities[0] == "stop"


def test_a_file_that_cannot_be_used_says_why() -> None:
    finding = unusable_finding("song.wav", code="unreadable", reason="holds no sound")

    assert (finding.code, finding.file, finding.value) == ("unreadable", "song.wav", {"reason": "holds no sound"})
