"""The tracks of a delivery as they were measured, each decoded once, and the song they belong to.

Every question of `verify.py` is asked of a `MeasuredSet`. Tested in `tests/analysis/delivery/test_verify.py`.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING

from analysis.core.blocks import Block
from analysis.core.errors import UnusableFileError
from analysis.core.reports import Clipped
from analysis.core.thresholds import Limits
from analysis.core.units import amplitude_from_db
from analysis.delivery.channels import Channel, channel_of
from analysis.features.feature_arrays import Features, MusicFeatures
from analysis.levels.clipping import ClippingMeter
from analysis.levels.sample_levels import LevelMeter
from analysis.lineup.excerpts import Excerpts, read_excerpts
from analysis.lineup.strokes_heard import Heard
from analysis.maps.tempo_map import TempoMap
from analysis.measuring.track_faults import FaultMeters, TrackFaults
from analysis.media.facts import MediaFacts
from analysis.media.hashes import AudioDigest
from analysis.media.reader import open_media
from analysis.media.windows import Activity, ActivityMeter

if TYPE_CHECKING:
    from analysis.lineup.click_heard import Bleed, BleedMeter


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
    faults: TrackFaults
    bleed: Bleed | None = None
    label: str = ""

    @property
    def file(self) -> str:
        return self.path.name

    @property
    def name(self) -> str:
        return self.path.stem

    @property
    def channel(self) -> Channel:
        """As somebody labelled it; else as its name says."""
        return channel_of(self.label or self.name)


@dataclass(frozen=True)
class Song:
    """What the set is compared with. `against`: a rough mix of the same playing; `originals`: the client's files.
    `perspective`: "player", "audience" or "" where nobody said whose left is left. `tempo_map` is in the tracks' own
    time, which begins `zero_s` after that of the mix and of the originals. `labels`: one of `channels.LABELS` by file
    name, for files whose name does not say what they hold."""

    tempo_map: TempoMap | None = None
    against: Path | None = None
    originals: tuple[Path, ...] = ()
    perspective: str = ""
    zero_s: float = 0.0
    labels: Mapping[str, str] = field(default_factory=dict)


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

    @property
    def microphones(self) -> tuple[Track, ...]:
        """What hears the kit, in the order of `excerpts`; all that sounds where names say nothing."""
        named = tuple(track for track in self.sounding if track.channel.hears_the_kit)
        return named or self.sounding

    def own_microphone(self, kind: str) -> Track | None:
        """The one that a drum of this kind has on its struck head."""
        return next((one for one in self.microphones if one.channel.kind == kind and not one.channel.other_head), None)

    def pair(self, kind: str) -> tuple[Track, Track] | None:
        """The left and right microphone of a kind."""
        found = {one.channel.side: one for one in self.microphones if one.channel.kind == kind}
        return (found["left"], found["right"]) if {"left", "right"} <= set(found) else None

    @property
    def doubles(self) -> tuple[int, ...]:
        """Places of the microphones that are equal, sample by sample, to one before them."""
        digests = [track.digest for track in self.microphones]
        return tuple(number for number, digest in enumerate(digests) if digest in digests[:number])

    @cached_property
    def excerpts(self) -> Excerpts:
        mine = self.microphones
        return read_excerpts([one.path for one in mine], [one.activity for one in mine], self.sample_rate_hz)

    @cached_property
    def heard(self) -> dict[str, dict[str, Heard]]:
        """By the name of each close microphone: how all microphones hear its strokes, by theirs."""
        names = [track.name for track in self.microphones]
        return {
            track.name: {
                name: one for name, one in zip(names, self.excerpts.heard_from(number), strict=False) if one is not None
            }
            for number, track in enumerate(self.microphones)
            if track.channel.is_close
        }


def measure_set(paths: Sequence[Path], song: Song, limits: Limits) -> MeasuredSet:
    return MeasuredSet(tuple(_measure_track(path, limits, song) for path in paths), song, limits)


def _measure_track(path: Path, limits: Limits, song: Song) -> Track:
    with open_media(path) as media:
        facts = media.facts
        levels = LevelMeter(facts.channels)
        clipping = ClippingMeter(facts.sample_rate_hz, facts.channels, bit_depth=facts.bit_depth, limits=limits)
        digest, activity = AudioDigest(facts.sample_rate_hz, facts.channels), ActivityMeter(facts.sample_rate_hz)
        music = MusicFeatures(facts.sample_rate_hz, facts.channels)
        faults = FaultMeters(facts, limits)
        bleed = _bleed_meter(song.tempo_map, facts)
        frames = 0
        for samples in media.blocks():
            block = Block(samples, frames)
            frames += block.frames
            for meter in (levels, clipping, digest, activity, faults):
                meter.add(block)
            if bleed is not None:
                bleed.add(block)
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
            faults.finish(path.name),
            bleed.finish() if bleed else None,
            song.labels.get(path.name, ""),
        )


def _bleed_meter(tempo_map: TempoMap | None, facts: MediaFacts) -> BleedMeter | None:
    if tempo_map is None or not facts.declared_frames:
        return None
    from analysis.lineup.click_heard import BleedMeter, beats_of  # its filters take a second to load

    return BleedMeter(beats_of(tempo_map, facts.sample_rate_hz, facts.declared_frames), facts.sample_rate_hz)


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
