"""Everything about one file from one decode and one pass over its samples, in bounded memory."""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass
from pathlib import Path

from analysis.core.blocks import Block
from analysis.core.errors import NotAudioError, UnreadableError, UnusableFileError
from analysis.core.reports import Drums, FileReport
from analysis.core.samples import Samples
from analysis.core.threads import on_one_thread
from analysis.core.thresholds import Limits
from analysis.core.units import amplitude_from_db, dbfs_from_amplitude
from analysis.features.feature_arrays import Features, MusicFeatures
from analysis.features.guide_drums import find_drums
from analysis.levels.clipping import ClippingMeter
from analysis.levels.dropouts import DropoutMeter
from analysis.levels.loudness import LoudnessMeter
from analysis.levels.pyramid import PyramidMeter
from analysis.levels.sample_levels import BitMeter, LevelMeter, Levels, channel_fault, sounding_side
from analysis.levels.silence import SilenceMeter
from analysis.levels.spectrum import SpectrumMeter
from analysis.levels.true_peak import TruePeakMeter
from analysis.measuring.documents import document_report
from analysis.media.facts import MediaFacts
from analysis.media.hashes import AudioDigest, sha256_of_file
from analysis.media.metadata import name_hints
from analysis.media.reader import Media, open_media
from analysis.rules.file_rules import file_findings, unusable_finding


@dataclass(frozen=True)
class FileSurvey:
    """Numbers that travel as JSON, and the small arrays that song-level questions are answered from."""

    report: FileReport
    features: Features


@on_one_thread
def survey_file(path: Path, *, name: str | None = None, limits: Limits | None = None) -> FileSurvey:
    """Measure one file. One that holds no sound has no numbers, and a finding that says why."""
    limits = limits or Limits()
    report = FileReport(name=name or path.name, sha256=sha256_of_file(path))
    try:
        with open_media(path) as media:
            meters = _Meters(media.facts, limits)
            for samples in media.blocks():
                meters.add(samples)
            if not meters.frames:
                raise UnreadableError("contains no sound: its length is zero")
            return meters.survey(report, media)
    except NotAudioError as error:
        document = document_report(report, path, error)
        return FileSurvey(document, _no_features()) if document else _unusable(report, error)
    except UnusableFileError as error:
        return _unusable(report, error)


def _unusable(report: FileReport, error: UnusableFileError) -> FileSurvey:
    """A survey without numbers: the finding is all there is to say."""
    finding = unusable_finding(report.name, code=error.code, reason=error.reason)
    return FileSurvey(dataclasses.replace(report, findings=(finding,)), _no_features())


def _no_features() -> Features:
    """What a file without sound sounds like."""
    return MusicFeatures(48_000, 1).finish()


class _Meters:
    """All measurements of one file, side by side on the same blocks."""

    def __init__(self, facts: MediaFacts, limits: Limits) -> None:
        rate_hz, channels = facts.sample_rate_hz, facts.channels
        self._limits = limits
        self.frames = 0
        self._bits = BitMeter(facts.bit_depth, is_float=facts.is_float)
        self._levels = LevelMeter(channels)
        self._clipping = ClippingMeter(rate_hz, channels, bit_depth=facts.bit_depth, limits=limits)
        self._loudness = LoudnessMeter(rate_hz, channels)
        self._true_peak = TruePeakMeter(rate_hz, channels)
        self._silence = SilenceMeter(limits)
        self._spectrum = SpectrumMeter(rate_hz)
        self._dropouts = DropoutMeter(rate_hz, channels, bit_depth=facts.bit_depth, limits=limits)
        self._pyramid = PyramidMeter()
        self._digest = AudioDigest(rate_hz, channels)
        self._music = MusicFeatures(rate_hz, channels)

    def add(self, samples: Samples) -> None:
        block = Block(samples, self.frames)
        self.frames += block.frames
        for meter in (
            self._bits,
            self._levels,
            self._clipping,
            self._loudness,
            self._true_peak,
            self._silence,
            self._spectrum,
            self._dropouts,
            self._pyramid,
            self._digest,
        ):
            meter.add(block)
        self._music.add(block.samples)

    def survey(self, report: FileReport, media: Media) -> FileSurvey:
        report = self._with_sound(self._with_facts(report, media), media.facts)
        features = dataclasses.replace(self._music.finish(), pyramid=self._pyramid.finish())
        drums = Drums() if report.is_silent else find_drums(features, self._limits)
        report = dataclasses.replace(report, drums=drums, findings=file_findings(report, self._limits))
        return FileSurvey(report, features)

    def _with_facts(self, report: FileReport, media: Media) -> FileReport:
        facts = media.facts
        return dataclasses.replace(
            report,
            container=media.container,
            codec=facts.codec,
            lossy=facts.lossy,
            sample_rate_hz=facts.sample_rate_hz,
            bit_depth=facts.bit_depth,
            channels=facts.channels,
            frames=self.frames,
            duration_s=self.frames / facts.sample_rate_hz,
            declared_frames=facts.declared_frames,
            missing_bytes=media.missing_bytes,
            unclaimed_bytes=media.unclaimed_bytes,
            broke_off=facts.broke_off,
            metadata=media.tags | name_hints(report.name),
            audio_digest=self._digest.finish(),
        )

    def _with_sound(self, report: FileReport, facts: MediaFacts) -> FileReport:
        report = self._with_levels(report, self._levels.finish())
        loudness, silence, rate_hz = self._loudness.finish(), self._silence.finish(), facts.sample_rate_hz
        return dataclasses.replace(
            report,
            significant_bits=self._bits.finish(),
            true_peak_dbtp=dbfs_from_amplitude(self._true_peak.finish()),
            loudness_lufs=loudness.integrated_lufs,
            loudness_range_lu=loudness.range_lu,
            short_term_max_lufs=loudness.short_term_max_lufs,
            momentary_max_lufs=loudness.momentary_max_lufs,
            clipped=self._clipping.finish(),
            leading_silence_s=_seconds(silence.leading_frames, rate_hz),
            trailing_silence_s=_seconds(silence.trailing_frames, rate_hz),
            spectral_edge_hz=None if report.is_silent else self._spectrum.finish(self._limits),
            dropouts=self._dropouts.finish(),
        )

    def _with_levels(self, report: FileReport, levels: Levels) -> FileReport:
        is_silent = levels.peak < amplitude_from_db(self._limits.silent_peak_dbfs)
        fault = None if is_silent else channel_fault(levels, self._limits)
        return dataclasses.replace(
            report,
            sample_peak_dbfs=dbfs_from_amplitude(levels.peak),
            dc_offset=levels.dc_offset,
            dc_error=levels.dc_error,
            is_silent=is_silent,
            bad_values=levels.bad_values,
            bad_value_s=_seconds(levels.first_bad_frame, report.sample_rate_hz or 1),
            channel_fault=fault,
            channel_correlation=levels.correlation,
            sounding_side=sounding_side(levels) if fault == "one-sided" else None,
        )


def _seconds(frames: int | None, sample_rate_hz: int) -> float | None:
    return None if frames is None else frames / sample_rate_hz
