"""Spectral edges: a hint with guards (house choice). Edges of MP3 at 128 kb/s lie near 16.7 kHz, measured with
libmp3lame 3.100."""

from pathlib import Path

import numpy as np
import pytest
import soxr

from analysis.core.reports import FileReport
from analysis.core.samples import Samples
from analysis.measuring.survey import survey_file
from analysis.media.reader import open_media
from tests import signals
from tests.analysis.encoded import write_encoded, write_sound

NOISE = signals.noise(rms=0.1, duration_s=6.0, sample_rate_hz=44_100, channels=2)


def codes(report: FileReport) -> set[str]:
    return {finding.code for finding in report.findings}


def low_passed(samples: Samples, cutoff_hz: float, *, slope_db_per_octave: float) -> Samples:
    spectrum = np.fft.rfft(samples, axis=0)
    hz = np.fft.rfftfreq(len(samples), 1 / 44_100)
    fall_db = np.maximum(0.0, np.log2(np.maximum(hz, 1.0) / cutoff_hz)) * slope_db_per_octave
    return np.asarray(np.fft.irfft(spectrum * (10 ** (-fall_db / 20))[:, None], len(samples), axis=0))


def test_noise_by_way_of_a_128_kb_mp3_shows_its_edge(tmp_path: Path) -> None:
    path = write_encoded(tmp_path / "a.mp3", NOISE, 44_100, codec="libmp3lame", bit_rate=128_000)
    with open_media(path) as media:
        decoded = np.concatenate([block.copy() for block in media.blocks()])
    report = survey_file(write_sound(tmp_path / "a.wav", decoded, 44_100)).report

    assert report.spectral_edge_hz == pytest.approx(16_750, abs=750)
    assert "lossy-origin" in codes(report)


@pytest.mark.parametrize(
    ("samples", "why"),
    [
        (NOISE, "nothing is cut"),
        (low_passed(NOISE, 5_000.0, slope_db_per_octave=24.0), "a kick or a dull amplifier"),
        (low_passed(NOISE, 200.0, slope_db_per_octave=12.0), "a bass"),
        (low_passed(NOISE, 12_000.0, slope_db_per_octave=18.0), "a soft roll-off"),
        (low_passed(NOISE, 5_000.0, slope_db_per_octave=400.0), "a steep filter far too low for an encoder"),
        (signals.silence(duration_s=3.0), "silence"),
        (signals.tone(hz=220.0, duration_s=3.0), "a tone"),
    ],
    ids=lambda value: value if isinstance(value, str) else "",
)
def test_no_hint_without_a_steep_edge(tmp_path: Path, samples: Samples, why: str) -> None:
    report = survey_file(write_sound(tmp_path / "a.wav", samples, 44_100)).report

    assert not codes(report) & {"lossy-origin", "upsampled"}, why


@pytest.mark.parametrize("rate_hz", [48_000, 96_000])
def test_a_good_conversion_is_no_lossy_file(tmp_path: Path, rate_hz: int) -> None:
    """44.1 kHz made into 48 or 96: the edge lies at 20 to 22 kHz."""
    converted = soxr.resample(NOISE, 44_100, rate_hz)
    report = survey_file(write_sound(tmp_path / "a.wav", converted, rate_hz)).report

    assert "lossy-origin" not in codes(report)
    assert ("upsampled" in codes(report)) == (rate_hz == 96_000)
