"""Songs whose files truly lie in the store, a few seconds each."""

from __future__ import annotations

import io
from typing import Any

import soundfile

from analysis.core.reports import FileReport
from analysis.core.samples import Samples
from portal.bookings.models import Song
from portal.intake.models import SourceFile
from tests import signals
from tests.factories import make_client, make_map, make_song, make_source, store_content

TITLE = "Cold Bus Under Spoons"


def store_sound(song: Song, name: str, samples: Samples, sample_rate_hz: int = 48_000, **fields: Any) -> SourceFile:
    written = io.BytesIO()
    format_ = "WAVEX" if samples.shape[1] > 2 else "WAV"
    soundfile.write(written, samples, sample_rate_hz, "PCM_24", format=format_)
    sha256 = store_content(written.getvalue())
    report = FileReport(
        name=name,
        sha256=sha256,
        sample_rate_hz=sample_rate_hz,
        bit_depth=24,
        channels=samples.shape[1],
        frames=len(samples),
        duration_s=len(samples) / sample_rate_hz,
    )
    defaults = {"sha256": sha256, "key": f"originals/{sha256[:2]}/{sha256}", "report": report.to_json()}
    return make_source(song=song, name=name, **(defaults | fields))


def noise(duration_s: float = 3.0, *, seed: int = 0, sample_rate_hz: int = 48_000, channels: int = 1) -> Samples:
    made = signals.noise(duration_s=duration_s, seed=seed, sample_rate_hz=sample_rate_hz, channels=channels)
    return signals.quantised(made, 24)


def make_packable(*, files: int = 2) -> Song:
    """A song at 112 with bar one 0.5 s into its files, ready to be prepared."""
    song = make_song(client=make_client(name="Mara König"), stage="ready", title=TITLE)
    for number in range(files):
        store_sound(song, f"stem {number + 1}.wav", noise(seed=number))
    make_map(song=song, bar_one_s=0.5)
    return song
