"""Every format gives its samples back, says what it is, and is known by its content."""

from pathlib import Path

import numpy as np
import pytest

from analysis.core.errors import NotAudioError, UnusableFileError
from analysis.core.samples import Samples
from analysis.lineup.correlation import find_offset
from analysis.media.reader import open_media
from tests import signals
from tests.analysis.encoded import pcm_format, riff_chunk, wav_bytes, write_encoded, write_sound

NOISE = signals.quantised(signals.noise(duration_s=1.7, channels=2), 16)


def decoded(path: Path) -> Samples:
    with open_media(path) as media:
        return np.concatenate([block.copy() for block in media.blocks()])


@pytest.mark.parametrize(
    ("format_name", "subtype", "endian", "container", "codec", "bits"),
    [
        ("WAV", "PCM_U8", "FILE", "wav", "pcm_u8", 8),
        ("WAV", "PCM_16", "FILE", "wav", "pcm_s16le", 16),
        ("WAV", "PCM_24", "FILE", "wav", "pcm_s24le", 24),
        ("WAV", "PCM_32", "FILE", "wav", "pcm_s32le", 32),
        ("WAV", "FLOAT", "FILE", "wav", "pcm_f32le", 32),
        ("WAV", "DOUBLE", "FILE", "wav", "pcm_f64le", 64),
        ("WAVEX", "PCM_24", "FILE", "wav", "pcm_s24le", 24),
        ("RF64", "PCM_24", "FILE", "rf64", "pcm_s24le", 24),
        ("W64", "PCM_24", "FILE", "w64", "pcm_s24le", 24),
        ("AIFF", "PCM_16", "FILE", "aiff", "pcm_s16be", 16),
        ("AIFF", "PCM_24", "FILE", "aiff", "pcm_s24be", 24),
        ("AIFF", "PCM_16", "LITTLE", "aifc", "pcm_s16le", 16),
        ("AIFF", "FLOAT", "FILE", "aifc", "pcm_f32be", 32),
        ("CAF", "PCM_24", "FILE", "caf", "pcm_s24be", 24),
        ("CAF", "ALAC_16", "FILE", "caf", "alac", 16),
        ("CAF", "ALAC_24", "FILE", "caf", "alac", 24),
        ("FLAC", "PCM_16", "FILE", "flac", "flac", 16),
        ("FLAC", "PCM_24", "FILE", "flac", "flac", 24),
    ],
)
def test_lossless_formats_give_back_every_sample(
    tmp_path: Path, format_name: str, subtype: str, endian: str, container: str, codec: str, bits: int
) -> None:
    samples = signals.quantised(NOISE, min(bits, 16))
    path = write_sound(tmp_path / "stem.bin", samples, format=format_name, subtype=subtype, endian=endian)

    with open_media(path) as media:
        facts = media.facts
        assert (media.container, facts.codec, facts.bit_depth, facts.lossy) == (container, codec, bits, False)
        assert (facts.sample_rate_hz, facts.channels, facts.declared_frames) == (48_000, 2, len(samples))
    assert np.array_equal(decoded(path), samples)


def test_bw64_is_read(tmp_path: Path) -> None:
    """ITU-R BS.2088-1: as RF64, under another name."""
    path = write_sound(tmp_path / "stem.wav", NOISE, format="RF64")
    content = path.read_bytes()
    path.write_bytes(b"BW64" + content[4:])

    with open_media(path) as media:
        assert (media.container, media.facts.codec, media.missing_bytes) == ("bw64", "pcm_s24le", 0)
    assert np.array_equal(decoded(path), NOISE)


@pytest.mark.parametrize(("sample_format", "bits"), [("s16p", 16), ("s32p", 24)])
def test_alac_in_mp4_gives_back_every_sample(tmp_path: Path, sample_format: str, bits: int) -> None:
    path = write_encoded(tmp_path / "stem.m4a", NOISE * (1 - 2.0**-15), codec="alac", sample_format=sample_format)

    with open_media(path) as media:
        assert (media.container, media.facts.codec, media.facts.bit_depth) == ("mp4", "alac", bits)
    assert np.abs(decoded(path) - NOISE).max() < 2.0**-14


@pytest.mark.parametrize("sample_rate_hz", [8_000, 22_050, 88_200, 192_000])
@pytest.mark.parametrize("channels", [1, 3, 8])
def test_rates_and_channels(tmp_path: Path, sample_rate_hz: int, channels: int) -> None:
    samples = signals.quantised(signals.noise(duration_s=0.6, sample_rate_hz=sample_rate_hz, channels=channels), 24)
    path = write_sound(tmp_path / "stem.wav", samples, sample_rate_hz)

    assert np.array_equal(decoded(path), samples)


LOSSY = [
    # Source: trade practice, measured with FFmpeg 5.1.9, libmp3lame 3.100, libopus 1.3.1, libvorbis 1.3.7:
    # (codec, ending, encoder's options, lag in frames at 48 kHz of what a default decode gives).
    ("libmp3lame", ".mp3", {}, 0),
    ("libmp3lame", ".mp3", {"write_xing": "0"}, 1_105),
    ("aac", ".m4a", {}, 0),
    ("aac", ".aac", {}, 1_024),
    ("libopus", ".opus", {}, 0),
]


@pytest.mark.parametrize(("codec", "ending", "options", "lag_frames"), LOSSY)
def test_encoder_delay_is_trimmed_where_the_file_says_it(
    tmp_path: Path, codec: str, ending: str, options: dict[str, str], lag_frames: int
) -> None:
    samples = signals.noise(duration_s=3.0, channels=2)
    sample_format = "flt" if codec == "libopus" else "fltp"
    path = write_encoded(
        tmp_path / f"mix{ending}", samples, codec=codec, sample_format=sample_format, container_options=options
    )

    found = decoded(path)
    offset = find_offset(samples, found[: len(samples)], 48_000, longest_lag_frames=4_000)
    assert offset is not None
    assert (offset.lag_frames, offset.polarity) == (lag_frames, 1)
    if not lag_frames:
        assert len(found) == len(samples)


@pytest.mark.parametrize(("format_name", "subtype", "codec"), [("OGG", "VORBIS", "vorbis"), ("OGG", "OPUS", "opus")])
def test_ogg_has_no_delay(tmp_path: Path, format_name: str, subtype: str, codec: str) -> None:
    samples = signals.noise(duration_s=3.0, channels=2)
    path = write_sound(tmp_path / "mix.ogg", samples, format=format_name, subtype=subtype)

    with open_media(path) as media:
        assert (media.facts.codec, media.facts.lossy, media.facts.bit_depth) == (codec, True, None)
    found = decoded(path)
    offset = find_offset(samples, found, 48_000, longest_lag_frames=4_000)
    assert offset is not None
    assert (offset.lag_frames, len(found)) == (0, len(samples))


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (b"", "empty"),
        (b"<!DOCTYPE html><html><body>not here</body></html>", "web page"),
        (b'<?xml version="1.0"?><svg xmlns="x"/>', "drawing"),
        (b"\x7fELF\x02\x01\x01" + bytes(60), "program"),
        (b"%PDF-1.7\n", "PDF"),
        (b"\x89PNG\r\n\x1a\n" + bytes(60), "picture"),
        (b"PK\x03\x04" + bytes(60), "zip"),
        (b"MThd\x00\x00\x00\x06", "MIDI"),
        ("Sorry, the file 가 is in the other folder.\n".encode(), "text"),
        (bytes(range(256)) * 4, "unknown kind"),
        (b"RIFF\x10\x00\x00\x00AVI LIST", "unknown kind"),
    ],
)
def test_what_is_not_sound_is_named(tmp_path: Path, content: bytes, words: str) -> None:
    path = tmp_path / "bass.wav"
    path.write_bytes(content)

    with pytest.raises(NotAudioError, match=words), open_media(path):
        pass


@pytest.mark.parametrize(
    "content",
    [
        b"RIFF\x24\x00\x00\x00WAVE",
        wav_bytes(riff_chunk(b"data", bytes(100))),
        wav_bytes(pcm_format(channels=0), riff_chunk(b"data", bytes(100))),
        wav_bytes(pcm_format(sample_rate_hz=0), riff_chunk(b"data", bytes(100))),
        wav_bytes(pcm_format(channels=30_000, bits=8), riff_chunk(b"data", bytes(100))),
        b"fLaC\x00\x00\x00\x22" + bytes(34),
        b"OggS" + bytes(100),
        b"\x00\x00\x00\x18ftypM4A " + bytes(100),
        b"caff\x00\x01\x00\x00",
    ],
)
def test_headers_that_make_no_sense_are_refused(tmp_path: Path, content: bytes) -> None:
    path = tmp_path / "bass.wav"
    path.write_bytes(content)

    with pytest.raises(UnusableFileError), open_media(path) as media:
        raise AssertionError(f"opened as {media.facts}")


def test_the_name_decides_nothing(tmp_path: Path) -> None:
    path = write_sound(tmp_path / "stem.raw", NOISE, format="FLAC", subtype="PCM_16")

    assert np.array_equal(decoded(path), NOISE)


def test_blocks_are_bounded(tmp_path: Path) -> None:
    path = write_sound(tmp_path / "stem.wav", signals.noise(duration_s=5.0, channels=16))

    with open_media(path) as media:
        sizes = [block.size for block in media.blocks()]
    assert max(sizes) <= 8 * 65_536
    assert sum(sizes) == 5 * 48_000 * 16


@pytest.mark.parametrize("ending", [".wav", ".m4a"])
@pytest.mark.parametrize("start", [0, 30_000, 81_000, 200_000])
def test_reads_a_part(tmp_path: Path, ending: str, start: int) -> None:
    path = tmp_path / f"stem{ending}"
    if ending == ".wav":
        write_sound(path, NOISE)
    else:
        write_encoded(path, NOISE * (1 - 2.0**-15), codec="alac", sample_format="s32p")
    wanted = NOISE[start : start + 1_000]

    with open_media(path) as media:
        part = media.part(start, 1_000)

    assert part.shape == wanted.shape
    assert np.abs(part - wanted).max(initial=0.0) < 2.0**-14
