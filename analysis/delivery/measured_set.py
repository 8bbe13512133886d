"""The tracks of a delivery as they were measured, each decoded once, and the song they belong to.

Every question of `verify.py` is asked of a `MeasuredSet`. Tested in `tests/analysis/delivery/test_verify.py`.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from analysis.core.blocks import Block
from analysis.core.errors import UnusableFileError
from analysis.core.reports import Clipped
from analysis.core.thresholds import Limits
from analysis.core.units import amplitude_from_db
from analysis.features.feature_arrays import Features, MusicFeatures
from analysis.levels.clipping import ClippingMeter
from analysis.levels.sample_levels import LevelMeter
from analysis.maps.tempo_map import TempoMap
from analysis.media.hashes import AudioDigest
from analysis.media.reader import open_media
from analysis.media.windows import Activity, ActivityMeter


@dataclass(frozen=True)
class Track:
    path: Path
    sample_rate_hz: int
    frames: int
    peak: float
    clipped: Clipped
    digest: str
    activity: Activity
    features: Features

    @property
    def file(self) -> str:
        return self.path.name

    @property
    def name(self) -> str:
        """The channel that the file's name says."""
        return self.path.stem


@dataclass(frozen=True)
class Song:
    """What the set is compared with. `against`: a rough mix of the same playing; `originals`: the client's files."""

    tempo_map: TempoMap | None = None
    against: Path | None = None
    originals: tuple[Path, ...] = ()


@dataclass(frozen=True)
class MeasuredSet:
    """All tracks at one rate. Files of different lengths are here too: their headers were judged before."""

    tracks: tuple[Track, ...]
    song: Song
    limits: Limits

    @property
    def sounding(self) -> tuple[Track, ...]:
        least = amplitude_from_db(self.limits.silent_peak_dbfs)
        return tuple(track for track in self.tracks if track.peak > least)

    @property
    def sample_rate_hz(self) -> int:
        return self.tracks[0].sample_rate_hz


def measure_set(paths: Sequence[Path], song: Song, limits: Limits) -> MeasuredSet:
    return MeasuredSet(tuple(_measure_track(path, limits) for path in paths), song, limits)


def _measure_track(path: Path, limits: Limits) -> Track:
    with open_media(path) as media:
        facts = media.facts
        levels = LevelMeter(facts.channels)
        clipping = ClippingMeter(facts.sample_rate_hz, facts.channels, bit_depth=facts.bit_depth, limits=limits)
        digest, activity = AudioDigest(facts.sample_rate_hz, facts.channels), ActivityMeter(facts.sample_rate_hz)
        music = MusicFeatures(facts.sample_rate_hz, facts.channels)
        frames = 0
        for samples in media.blocks():
            block = Block(samples, frames)
            frames += block.frames
            for meter in (levels, clipping, digest, activity):
                meter.add(block)
            music.add(block.samples)
        return Track(
            path,
            facts.sample_rate_hz,
            frames,
            levels.finish().peak,
            clipping.finish(),
            digest.finish(),
            activity.finish(),
            music.finish(),
        )


def features_of(path: Path) -> Features | None:
    """None for a file without sound: its sender has been told already."""
    try:
        with open_media(path) as media:
            music = MusicFeatures(media.facts.sample_rate_hz, media.facts.channels)
            for samples in media.blocks():
                music.add(samples)
    except UnusableFileError:
        return None
    return music.finish()
