from __future__ import annotations

from pathlib import Path

from analysis.sandbox.mixdown_child import write_mixdown_in_child


def test_a_file_that_is_no_sound_gives_a_reason(tmp_path: Path) -> None:
    (tmp_path / "no.wav").write_bytes(b"no sound at all")
    assert write_mixdown_in_child([tmp_path / "no.wav"], tmp_path / "s.flac", sample_rate_hz=48_000) == (
        "made the decoder fail"
    )
