"""What can be wrong inside one track, measured in the pass that decodes it.

Most of it is what every file of a client is measured by; the rest concerns drum tracks: holes, passages that stand
there twice, hum, noise between the strokes, edits that click, the end. Tested in
`tests/analysis/delivery/test_file_faults.py`.
"""

from __future__ import annotations

from dataclasses import dataclass

from analysis.core.blocks import Block
from analysis.core.reports import FileReport
from analysis.core.thresholds import Limits
from analysis.core.units import amplitude_from_db, dbfs_from_amplitude
from analysis.levels.dropouts import DropoutMeter
from analysis.levels.ends import Ends, EndsMeter
from analysis.levels.holes import HoleMeter
from analysis.levels.hum import Hum, HumMeter
from analysis.levels.jumps import JumpMeter
from analysis.levels.repeats import Repeat, RepeatMeter
from analysis.levels.sample_levels import BitMeter, LevelMeter, Levels, channel_fault, sounding_side
from analysis.levels.spectrum import SpectrumMeter
from analysis.levels.value_steps import StepMeter
from analysis.media.facts import MediaFacts


@dataclass(frozen=True)
class TrackFaults:
    """`report` holds what the rules for single files ask for. `holes`: (start, length) in seconds; `jumps_s`: where the
    wave jumps; `step_bits`: what the distance of the values amounts to."""

    report: FileReport
    holes: tuple[tuple[float, float], ...]
    repeat: Repeat | None
    hum: Hum | None
    ends: Ends
    step_bits: float | None
    jumps_s: tuple[float, ...]


class FaultMeters:
    def __init__(self, facts: MediaFacts, limits: Limits) -> None:
        rate_hz, channels = facts.sample_rate_hz, facts.channels
        self._facts, self._limits = facts, limits
        self._bits = BitMeter(facts.bit_depth, is_float=facts.is_float)
        self._spectrum = SpectrumMeter(rate_hz)
        self._dropouts = DropoutMeter(rate_hz, channels, bit_depth=facts.bit_depth, limits=limits)
        self._holes, self._repeats, self._hum = HoleMeter(rate_hz), RepeatMeter(rate_hz), HumMeter(rate_hz)
        self._ends, self._jumps = EndsMeter(rate_hz, channels), JumpMeter(rate_hz, channels)
        self._steps = StepMeter(facts.bit_depth, is_float=facts.is_float)
        self._levels = LevelMeter(channels)

    def add(self, block: Block) -> None:
        for meter in (
            self._levels,
            self._bits,
            self._spectrum,
            self._dropouts,
            self._holes,
            self._repeats,
            self._hum,
            self._ends,
            self._jumps,
            self._steps,
        ):
            meter.add(block)

    def finish(self, name: str) -> TrackFaults:
        return TrackFaults(
            self._report(name, self._levels.finish()),
            self._holes.finish(),
            self._repeats.finish(),
            self._hum.finish(),
            self._ends.finish(),
            self._steps.finish(),
            self._jumps.finish(),
        )

    def _report(self, name: str, levels: Levels) -> FileReport:
        facts = self._facts
        is_silent = levels.peak < amplitude_from_db(self._limits.silent_peak_dbfs)
        fault = None if is_silent else channel_fault(levels, self._limits)
        return FileReport(
            name=name,
            sha256="",
            codec=facts.codec,
            lossy=facts.lossy,
            sample_rate_hz=facts.sample_rate_hz,
            bit_depth=facts.bit_depth,
            channels=facts.channels,
            significant_bits=self._bits.finish(),
            sample_peak_dbfs=dbfs_from_amplitude(levels.peak),
            dc_offset=levels.dc_offset,
            dc_error=levels.dc_error,
            spectral_edge_hz=None if is_silent else self._spectrum.finish(self._limits),
            is_silent=is_silent,
            bad_values=levels.bad_values,
            channel_fault=fault,
            channel_correlation=levels.correlation,
            sounding_side=sounding_side(levels) if fault == "one-sided" else None,
            dropouts=self._dropouts.finish(),
        )
