"""The published test signals, and signals whose answers are arithmetic: what must be measured, and what is."""

from __future__ import annotations

import argparse
from collections.abc import Iterator

from analysis.core.blocks import Block
from analysis.core.reports import Clipped
from analysis.core.samples import Samples
from analysis.core.thresholds import Limits
from analysis.core.units import dbfs_from_amplitude
from analysis.levels.clipping import ClippingMeter
from analysis.levels.loudness import measure_loudness
from analysis.levels.true_peak import measure_true_peak
from analysis.lineup.correlation import find_offset
from tests import signals

RATE_HZ = 48_000
Row = tuple[str, str, str, str]


def run(_: argparse.Namespace) -> None:
    print("\nStandards: signal, source, what it must be, what was measured")
    for signal, source, due, found in (*loudness_rows(), *true_peak_rows(), *clipping_rows(), *offset_rows()):
        print(f"  {signal:<32}{source:<20}{due:<28}{found}")


def loudness_rows() -> Iterator[Row]:
    for case in signals.LOUDNESS_CASES:
        yield f"case {case.number}", *_loudness(signals.loudness_signal(case), case)
    for number in (10, 13):
        cases = [signals.start_shifted(number, step) for step in range(20)]
        found = [_measured_lufs(signals.loudness_signal(case), case) for case in cases]
        word = f"{min(found):.2f} to {max(found):.2f} LUFS"
        yield f"case {number}, 20 starts", "EBU Tech 3341 v4", "-23.0 +/-0.1 LUFS", word
    samples, due_lufs = signals.surround_case()
    yield "case 6, five channels", *_loudness(samples, signals.LoudnessCase(6, (), due_lufs))


def _loudness(samples: Samples, case: signals.LoudnessCase) -> tuple[str, str, str]:
    due = f"{case.expected_lufs:.1f} +/-{signals.LOUDNESS_TOLERANCE_LU} LUFS ({case.measure})"
    return "EBU Tech 3341 v4", due, f"{_measured_lufs(samples, case):.2f} LUFS"


def _measured_lufs(samples: Samples, case: signals.LoudnessCase) -> float:
    found = measure_loudness(samples, RATE_HZ)
    by_measure = {"I": found.integrated_lufs, "S": found.short_term_max_lufs, "M": found.momentary_max_lufs}
    return by_measure[case.measure] or 0.0


def true_peak_rows() -> Iterator[Row]:
    for case in signals.TRUE_PEAK_TONES:
        yield f"case {case.number}", *_true_peak(signals.true_peak_tone(case), case.expected_dbtp)
    for offset in range(4):
        samples = signals.decimated_true_peak_tone(offset)
        yield f"case {20 + offset}", *_true_peak(samples, signals.DECIMATED_EXPECTED_DBTP)


def _true_peak(samples: Samples, due_dbtp: float) -> tuple[str, str, str]:
    due = f"{due_dbtp:+.1f} +{signals.TRUE_PEAK_ABOVE_DB} -{signals.TRUE_PEAK_BELOW_DB} dBTP"
    found = dbfs_from_amplitude(measure_true_peak(samples, RATE_HZ)) or 0.0
    return "EBU Tech 3341 v4", due, f"{found:+.2f} dBTP"


def clipping_rows() -> Iterator[Row]:
    loud = signals.clipped_tone()
    tone_3_db = signals.true_peak_tone(signals.TRUE_PEAK_TONES[4])
    low = signals.full_scale_low_sine()
    due = "1994 runs, longest 12-13"
    yield "997 Hz, 3 dB over, cut", "arithmetic", due, _clipped(loud, 24)
    yield "the same, turned down by half", "arithmetic", due, _clipped(loud * 0.5, 24)
    yield "case 19: true peak +3 dBTP", "EBU Tech 3341 v4", "0 runs", _clipped(tone_3_db, 24)
    yield "20 Hz at full scale, 16 bits", "arithmetic", "0 runs", _clipped(low, 16)


def _clipped(samples: Samples, bit_depth: int) -> str:
    meter = ClippingMeter(RATE_HZ, samples.shape[1], bit_depth=bit_depth, limits=Limits())
    meter.add(Block(samples, 0))
    found: Clipped = meter.finish()
    return f"{found.runs} runs" + (f", longest {found.longest_frames}" if found.runs else "")


def offset_rows() -> Iterator[Row]:
    """0.95 m at 343 m/s and 48 kHz are 133 samples."""
    far, inverted, heads = signals.overhead_pair(), signals.overhead_pair(inverted=True), signals.snare_heads()
    for name, pair in (("overhead", far), ("overhead, inverted", inverted), ("two heads of a drum", heads)):
        found = find_offset(pair.first, pair.second, RATE_HZ, longest_lag_frames=2_400)
        words = f"{found.lag_frames} samples, sign {found.polarity:+d}" if found else "no answer"
        yield name, "arithmetic", f"{pair.lag_frames} +/-1 samples, sign {pair.sign:+d}", words
