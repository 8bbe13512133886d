"""One file, one pass: what the report says of files with known content and known damage."""

import hashlib
import json
from pathlib import Path

import numpy as np
import pytest

from analysis.core.reports import FileReport
from analysis.core.samples import Samples
from analysis.measuring.survey import survey_file
from analysis.rules.file_rules import cut_short
from tests import signals
from tests.analysis.encoded import broadcast_chunk, pcm_format, riff_chunk, wav_bytes, write_encoded, write_sound


def report(path: Path, samples: Samples | None = None, sample_rate_hz: int = 48_000, **options: object) -> FileReport:
    if samples is not None:
        write_sound(path, samples, sample_rate_hz, **options)
    return survey_file(path).report


def codes(measured: FileReport) -> list[str]:
    return [finding.code for finding in measured.findings]


def music(*, channels: int = 2, duration_s: float = 4.0, seed: int = 0) -> Samples:
    """Something with level, width and dynamics that nothing is wrong with."""
    samples = signals.noise(rms=0.1, duration_s=duration_s, channels=channels, seed=seed)
    swell = 0.3 + 0.7 * np.abs(np.sin(np.pi * np.arange(len(samples)) / 24_000.0))
    return np.asarray(samples * swell[:, None])


def test_says_what_a_file_is(tmp_path: Path) -> None:
    measured = report(tmp_path / "bass_112bpm_48k.wav", music(channels=1))

    assert measured.name == "bass_112bpm_48k.wav"
    assert (measured.container, measured.codec, measured.lossy) == ("wav", "pcm_s24le", False)
    assert (measured.sample_rate_hz, measured.bit_depth, measured.channels) == (48_000, 24, 1)
    assert (measured.frames, measured.duration_s, measured.significant_bits) == (192_000, 4.0, 24)
    assert measured.metadata == {"name_bpm": 112.0, "name_sample_rate_hz": 48_000}
    assert codes(measured) == []


def test_true_peak_without_clipping(tmp_path: Path) -> None:
    """Source: EBU Tech 3341 v4, case 19: sample peak -0.03 dBFS, true peak +3.0, no clipped run."""
    samples = signals.true_peak_tone(signals.TRUE_PEAK_TONES[4])
    measured = report(tmp_path / "tone.wav", samples)

    assert measured.sample_peak_dbfs == pytest.approx(-0.03, abs=0.01)
    assert measured.true_peak_dbtp == pytest.approx(3.0, abs=0.2)
    assert measured.clipped.runs == 0
    assert "true-peak-over" in codes(measured)
    assert "clipped" not in codes(measured)


def test_silence_has_no_loudness_and_no_level(tmp_path: Path) -> None:
    measured = report(tmp_path / "pad.wav", signals.silence(duration_s=2.0, channels=2))

    assert measured.is_silent
    assert (measured.loudness_lufs, measured.sample_peak_dbfs, measured.true_peak_dbtp) == (None, None, None)
    assert (measured.leading_silence_s, measured.trailing_silence_s) == (None, None)
    assert codes(measured) == ["silent"]
    json.dumps(measured.to_json(), allow_nan=False)


@pytest.mark.parametrize("gain", [1.0, 0.5])
def test_a_clipped_file_stops(tmp_path: Path, gain: float) -> None:
    samples = np.concatenate([music(channels=1) * 0.1, signals.clipped_tone(duration_s=2.0) * gain])
    finding = next(finding for finding in report(tmp_path / "bass.wav", samples).findings if finding.code == "clipped")

    assert (finding.severity, finding.value["places"]) == ("stop", 1)
    assert finding.place.time_s == pytest.approx(4.0, abs=0.01)
    # 1994 runs a second: see signals.clipped_tone (arithmetic).
    assert "3988 flat peaks" in finding.message


def test_a_limiters_ceiling_is_a_note(tmp_path: Path) -> None:
    """Three equal samples here and there on a finished mix are no reason to stop."""
    samples = music() * 0.5
    for frame in (30_000, 90_000):
        samples[frame : frame + 3, 0] = 0.89
    finding = report(tmp_path / "mix.wav", samples).findings[0]

    assert (finding.code, finding.severity) == ("clipped", "note")


def test_floating_point_over_full_scale_is_not_clipped(tmp_path: Path) -> None:
    samples = music() * 10.0
    measured = report(tmp_path / "mix.wav", samples, subtype="FLOAT")

    assert codes(measured) == ["over-full-scale"]
    assert measured.findings[0].value["over_db"] == pytest.approx(20 * np.log10(np.abs(samples).max()), abs=0.01)


@pytest.mark.parametrize("offset", [0.01, 0.002])
def test_dc_offset_is_a_note_that_nobody_has_to_answer(tmp_path: Path, offset: float) -> None:
    measured = report(tmp_path / "synth.wav", music() + offset)

    assert [(finding.code, finding.severity) for finding in measured.findings] == [("dc-offset", "note")]


def test_a_clipped_file_says_it_once(tmp_path: Path) -> None:
    """Cut off hard, on a crooked zero line, its true peak over full scale, no dynamics: one cause, one finding."""
    loud = np.clip(signals.tone(hz=997.0, amplitude=4.0, duration_s=4.0) + 0.05, -1.0, 1.0 - 2.0**-23)

    assert codes(report(tmp_path / "mix.wav", loud)) == ["clipped"]


@pytest.mark.parametrize(("missing_share", "is_short"), [(0.005, False), (0.02, True)])
def test_the_length_of_a_lossy_file_may_be_an_estimate(missing_share: float, is_short: bool) -> None:
    """Without a tag, the length of an MP3 is reckoned from its bit rate."""
    frames = 48_000 * 300
    declared = round(frames / (1.0 - missing_share))
    measured = FileReport(
        "mix.mp3", "", lossy=True, sample_rate_hz=48_000, frames=frames, duration_s=300.0, declared_frames=declared
    )

    assert [finding.code for finding in cut_short(measured)] == (["cut-short"] if is_short else [])


def test_16_bits_in_24(tmp_path: Path) -> None:
    assert codes(report(tmp_path / "keys.wav", signals.quantised(music(), 16))) == ["padded-bits"]


def test_quiet_file(tmp_path: Path) -> None:
    assert codes(report(tmp_path / "keys.wav", music() * 0.01)) == ["low-level"]


def test_values_that_are_no_numbers(tmp_path: Path) -> None:
    samples = music()
    samples[96_000, 0] = np.nan
    samples[96_001, 1] = np.inf
    measured = report(tmp_path / "synth.wav", samples, subtype="FLOAT")

    assert codes(measured) == ["bad-values"]
    assert (measured.bad_values, measured.bad_value_s) == (2, 2.0)
    json.dumps(measured.to_json(), allow_nan=False)


@pytest.mark.parametrize("format_name", ["WAV", "AIFF", "CAF", "W64", "RF64", "FLAC", "MP3", "OGG"])
def test_cut_short(tmp_path: Path, format_name: str) -> None:
    path = tmp_path / "lead.wav"
    subtype = {"MP3": "MPEG_LAYER_III", "OGG": "VORBIS"}.get(format_name, "PCM_16")
    write_sound(path, music(), format=format_name, subtype=subtype)
    content = path.read_bytes()
    path.write_bytes(content[: len(content) * 6 // 10])
    measured = report(path)

    finding = next(finding for finding in measured.findings if finding.code == "cut-short")
    assert finding.severity == "stop"
    assert 0 < (measured.frames or 0) < 192_000 * 0.62


def test_cut_short_mp4_is_refused_with_a_reason(tmp_path: Path) -> None:
    """Its index comes last, so nothing can be decoded without the end."""
    path = write_encoded(tmp_path / "lead.m4a", music(), codec="aac")
    content = path.read_bytes()
    path.write_bytes(content[: len(content) * 6 // 10])
    measured = report(path)

    assert measured.frames is None
    assert codes(measured) == ["unreadable"]


def test_a_stream_of_unknown_length_is_not_cut_short(tmp_path: Path) -> None:
    """A program that writes into a pipe leaves the sizes open."""
    path = tmp_path / "mix.wav"
    words = (signals.noise(duration_s=2.0) * 32_000).astype("<i2").tobytes()
    content = bytearray(wav_bytes(pcm_format(), riff_chunk(b"data", words)))
    content[4:8] = content[40:44] = b"\xff\xff\xff\xff"
    path.write_bytes(bytes(content))
    measured = report(path)

    assert measured.frames == 96_000
    assert "cut-short" not in codes(measured)


def test_odd_chunk_with_its_pad_byte_is_not_cut_short(tmp_path: Path) -> None:
    """An odd frame count of 24-bit mono has an odd data size and one pad byte (BS.2088 Annex 2)."""
    path = tmp_path / "bass.wav"
    data = bytes(range(1, 100)) * 3_333
    path.write_bytes(
        wav_bytes(pcm_format(bits=24), riff_chunk(b"data", data), broadcast_chunk(time_reference_frames=7))
    )
    measured = report(path)

    assert (measured.frames, measured.missing_bytes) == (len(data) // 3, 0)
    assert measured.metadata["time_reference_frames"] == 7


def test_lossy_file(tmp_path: Path) -> None:
    measured = report(write_encoded(tmp_path / "mix.m4a", music(), codec="aac"))

    assert (measured.lossy, measured.bit_depth, measured.significant_bits) == (True, None, None)
    assert codes(measured) == ["lossy-file"]


def test_what_is_no_sound_has_no_numbers(tmp_path: Path) -> None:
    path = tmp_path / "vocals.wav"
    path.write_text("Sorry, wrong folder.")
    measured = report(path)

    assert codes(measured) == ["not-audio"]
    assert (measured.frames, measured.sample_rate_hz, measured.loudness_lufs) == (None, None, None)
    assert measured.sha256 == hashlib.sha256(b"Sorry, wrong folder.").hexdigest()


@pytest.mark.parametrize("frames", [0, 1, 100])
def test_hardly_any_frames(tmp_path: Path, frames: int) -> None:
    measured = report(tmp_path / "hit.wav", np.full((frames, 1), 0.5))

    assert measured.frames == (frames or None)
    assert ("unreadable" in codes(measured)) == (frames == 0)


def test_equal_sound_in_other_containers_has_one_digest(tmp_path: Path) -> None:
    samples = signals.quantised(music(), 16)
    digests = {
        report(tmp_path / "a.wav", samples).audio_digest,
        report(tmp_path / "b.flac", samples, subtype="PCM_16").audio_digest,
        report(tmp_path / "c.aiff", samples).audio_digest,
        report(tmp_path / "d.wav", samples, subtype="FLOAT").audio_digest,
    }

    assert len(digests) == 1
    assert report(tmp_path / "e.wav", samples * 0.5).audio_digest not in digests


def test_pictures_have_the_extremes_of_the_sound(tmp_path: Path) -> None:
    samples = music(channels=1)
    write_sound(tmp_path / "bass.wav", samples)
    pyramid = survey_file(tmp_path / "bass.wav").features.pyramid

    assert pyramid.shape == (192_000 // 512, 2)
    assert pyramid[:, 0].min() == pytest.approx(samples.min(), abs=1e-6)
    assert pyramid[:, 1].max() == pytest.approx(samples.max(), abs=1e-6)


def test_two_surveys_agree(tmp_path: Path) -> None:
    first, second = report(tmp_path / "bass.wav", music()), report(tmp_path / "bass.wav")

    assert first == second
    assert FileReport.from_json(json.loads(json.dumps(first.to_json()))) == first
