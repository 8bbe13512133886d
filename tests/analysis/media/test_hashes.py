"""Equal bytes, and equal sound."""

import hashlib
from pathlib import Path

import numpy as np
import pytest

from analysis.core.blocks import BUCKET_FRAMES, Block
from analysis.core.samples import Samples
from analysis.media.hashes import AudioDigest, sha256_of_file
from analysis.media.reader import open_media
from tests import signals
from tests.analysis.encoded import write_sound

SAMPLES = signals.quantised(signals.noise(channels=2), 16)


def digest_of(path: Path) -> str:
    with open_media(path) as media:
        digest = AudioDigest(media.facts.sample_rate_hz, media.facts.channels)
        frame = 0
        for samples in media.blocks():
            digest.add(Block(samples, frame))
            frame += len(samples)
    return digest.finish()


def digest(samples: Samples, rate_hz: int = 48_000) -> str:
    found = AudioDigest(rate_hz, samples.shape[1])
    found.add(Block(samples, 0))
    return found.finish()


@pytest.mark.parametrize("size", [0, 10, 2**20, 2**20 + 1])
def test_a_file_has_the_hash_of_its_bytes(tmp_path: Path, size: int) -> None:
    content = np.random.default_rng(1).bytes(size)
    (tmp_path / "a").write_bytes(content)

    assert sha256_of_file(tmp_path / "a") == hashlib.sha256(content).hexdigest()


def test_the_same_sound_has_one_digest_in_every_container(tmp_path: Path) -> None:
    wav = write_sound(tmp_path / "a.wav", SAMPLES)
    flac = write_sound(tmp_path / "a.flac", SAMPLES, format="FLAC", subtype="PCM_16")

    assert sha256_of_file(wav) != sha256_of_file(flac)
    assert digest_of(wav) == digest_of(flac)


def test_another_sound_rate_or_length_has_another_digest() -> None:
    louder, longer = SAMPLES.copy(), np.concatenate([SAMPLES, SAMPLES[-1:]])
    louder[BUCKET_FRAMES * 3 + 7, 1] = 0.99

    digests = {digest(SAMPLES), digest(louder), digest(longer), digest(SAMPLES, 44_100), digest(SAMPLES[:, ::-1])}

    assert len(digests) == 5
