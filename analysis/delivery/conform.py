"""Brings a song's files to one start, length, rate and depth, with bar one where the house wants it.

Files are moved against nothing but the common start: what lined up before lines up afterwards. Samples are copied bit
for bit unless rate or depth has to change.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path

import numpy as np
import soxr

from analysis.core.errors import MapError
from analysis.core.reports import Record
from analysis.core.samples import Samples
from analysis.core.units import amplitude_from_db
from analysis.maps.tempo_map import TempoMap, round_half_up
from analysis.media.reader import Media, SoundWriter, create_sound, open_media
from analysis.media.safe_names import safe_name

# What is cut off at the start must be quieter than this (house choice: under any room noise).
_CUT_BELOW_DBFS = -80.0
# Silence is written in pieces of this length, to keep memory small (house choice).
_PAD_FRAMES = 65_536


@dataclass(frozen=True)
class ConformedFile(Record):
    """`shift_frames`: how much later the sound sits in the new file, at the new rate. Negative: silence was cut."""

    name: str
    out: str
    frames: int
    shift_frames: int
    resampled: bool


@dataclass(frozen=True)
class ConformReport(Record):
    bar_one_frame: int
    frames: int
    files: tuple[ConformedFile, ...] = ()


def conform_files(
    paths: Sequence[Path],
    folder: Path,
    *,
    tempo_map: TempoMap,
    start_bar: int = 1,
    sample_rate_hz: int = 48_000,
    bit_depth: int = 24,
) -> ConformReport:
    """Write all files to `folder` so that the song's bar one is the session's bar `start_bar`.

    Bars before it run at the tempo and meter of bar one. Raises MapError when sound would have to be cut off.
    """
    if start_bar < 1:
        raise MapError(f"the start bar must be 1 or more, not {start_bar}")
    bar_one_s = tempo_map.bar_one_s
    lead_s = (start_bar - 1) * tempo_map.segment_at_bar(1).bar_s
    shift_frames = round_half_up((lead_s - bar_one_s) * sample_rate_hz)
    lengths = [_frames_at(path, sample_rate_hz) for path in paths]
    frames = max(max(lengths, default=0) + shift_frames, 0)
    folder.mkdir(parents=True, exist_ok=True)
    names = _distinct([safe_name(f"{path.stem}.wav") for path in paths])
    done = []
    for path, name in zip(paths, names, strict=True):
        resampled = _conform(path, folder / name, shift_frames, frames, sample_rate_hz, bit_depth)
        done.append(ConformedFile(path.name, name, frames, shift_frames, resampled))
    return ConformReport(round_half_up(Fraction(lead_s) * sample_rate_hz), frames, tuple(done))


def _frames_at(path: Path, sample_rate_hz: int) -> int:
    """Length at the new rate; counted by decoding where the header does not say."""
    with open_media(path) as media:
        frames = media.facts.declared_frames
        if frames is None or media.facts.lossy:
            frames = sum(len(block) for block in media.blocks())
        return round_half_up(Fraction(frames * sample_rate_hz, media.facts.sample_rate_hz))


def _distinct(names: Sequence[str]) -> list[str]:
    seen: dict[str, int] = {}
    distinct = []
    for name in names:
        seen[name] = seen.get(name, 0) + 1
        distinct.append(name if seen[name] == 1 else f"{name[:-4]}_{seen[name]}.wav")
    return distinct


def _conform(path: Path, out: Path, shift_frames: int, frames: int, sample_rate_hz: int, bit_depth: int) -> bool:
    with open_media(path) as media:
        channels = media.facts.channels
        with create_sound(
            out, sample_rate_hz=sample_rate_hz, channels=channels, bit_depth=bit_depth, frames=frames
        ) as sound:
            _pad(sound, max(0, shift_frames), channels)
            for block in _without_start(_at_rate(media, sample_rate_hz), max(0, -shift_frames), path.name):
                sound.write(block[: frames - sound.frames])
            _pad(sound, frames - sound.frames, channels)
        return media.facts.sample_rate_hz != sample_rate_hz


def _at_rate(media: Media, sample_rate_hz: int) -> Iterator[Samples]:
    if media.facts.sample_rate_hz == sample_rate_hz:
        yield from media.blocks()
        return
    converter = soxr.ResampleStream(
        media.facts.sample_rate_hz, sample_rate_hz, media.facts.channels, dtype="float64", quality="VHQ"
    )
    for block in media.blocks():
        yield converter.resample_chunk(np.ascontiguousarray(block, np.float64))
    yield converter.resample_chunk(np.zeros((0, media.facts.channels)), last=True)


def _without_start(blocks: Iterator[Samples], cut_frames: int, name: str) -> Iterator[Samples]:
    """Leave the first frames out, if they are silent: anything else would be music lost."""
    for block in blocks:
        cut = block[:cut_frames]
        cut_frames -= len(cut)
        if np.abs(cut).max(initial=0.0) > amplitude_from_db(_CUT_BELOW_DBFS):
            raise MapError(f"{name} has sound before the new start: choose a later start bar")
        if len(cut) < len(block):
            yield block[len(cut) :]


def _pad(sound: SoundWriter, frames: int, channels: int) -> None:
    while frames > 0:
        count = min(frames, _PAD_FRAMES)
        sound.write(np.zeros((count, channels), np.float32))
        frames -= count
