"""Brings one of a song's files to the session's start, length, rate and depth.

Files are moved against nothing but the common start: what lined up before lines up afterwards. Gain is untouched.
Samples are copied bit for bit unless rate or depth has to change: the rate by soxr at its best quality, once; the depth
by rounding, with dither only where bits are lost.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import soxr

from analysis.core.errors import MapError, UnreadableError
from analysis.core.reports import Record
from analysis.core.samples import Doubles, Samples
from analysis.core.units import amplitude_from_db
from analysis.media.broadcast import Broadcast, BroadcastWriter, create_broadcast
from analysis.media.reader import Media, open_media
from analysis.session.timeline import CUT_BELOW_DBFS, Timeline

# Silence is written in pieces of this length, to keep memory small (house choice).
_PAD_FRAMES = 65_536
# The converter's own rounding of a length; more is sound that was not measured (house choice).
_FRAMES_OVER_AT_MOST = 64
_DITHER_SEED = 1  # any one will do (house choice)
# Floating point, or the output of a lossy decoder: more bits than any fixed-point session (house choice).
_MORE_BITS = 32
_MODES = {1: "mono", 2: "stereo"}


@dataclass(frozen=True)
class ConformedFile(Record):
    """What was done to one file. `shift_frames`: how much later its sound sits in the new file, at the new rate;
    negative where silence was cut. `source_bits` is None for lossy files."""

    name: str
    out: str
    channels: int
    source_codec: str
    source_rate_hz: int
    source_bits: int | None
    source_is_float: bool
    sample_rate_hz: int
    bit_depth: int
    frames: int
    shift_frames: int
    resampled: bool
    dithered: bool
    held_samples: int = 0
    replaced_samples: int = 0
    sha256: str = ""
    crc32: int = 0
    size_bytes: int = 0
    source_sha256: str = ""


@dataclass
class _Changes:
    """Noted while the samples pass."""

    dithered: bool = False
    replaced_samples: int = 0


def conform_file(path: Path, to: Path, timeline: Timeline, *, name: str, out: str) -> ConformedFile:
    """Write to `to` what is to be called `out`. `name` is the file's own.

    Raises MapError when sound would have to be cut off, UnreadableError when decoding ends before the file does.
    """
    settings, changes = timeline.settings, _Changes()
    with open_media(path) as media:
        facts = media.facts
        with create_broadcast(
            to,
            sample_rate_hz=settings.sample_rate_hz,
            channels=facts.channels,
            bit_depth=settings.bit_depth,
            frames=timeline.frames,
            broadcast=Broadcast(name, timeline.time_reference_frames, _history(media, timeline)),
        ) as sound:
            blocks = _at_rate(_finite(media.blocks(), changes), media, settings.sample_rate_hz)
            blocks = _without_start(blocks, max(0, -timeline.shift_frames), name)
            if _loses_bits(media, settings.bit_depth):
                blocks = _dithered(blocks, settings.bit_depth, changes)
            _pad(sound, max(0, timeline.shift_frames), facts.channels)
            _fill(sound, blocks, timeline.frames, name)
            if facts.broke_off:
                raise UnreadableError("could not be decoded to its end")
            _pad(sound, timeline.frames - sound.frames, facts.channels)
        return ConformedFile(
            name=name,
            out=out,
            channels=facts.channels,
            source_codec=facts.codec,
            source_rate_hz=facts.sample_rate_hz,
            source_bits=facts.bit_depth,
            source_is_float=facts.is_float,
            sample_rate_hz=settings.sample_rate_hz,
            bit_depth=settings.bit_depth,
            frames=timeline.frames,
            shift_frames=timeline.shift_frames,
            resampled=facts.sample_rate_hz != settings.sample_rate_hz,
            dithered=changes.dithered,
            held_samples=sound.held_samples,
            replaced_samples=changes.replaced_samples,
            sha256=sound.sha256,
            crc32=sound.crc32,
            size_bytes=to.stat().st_size,
        )


def _history(media: Media, timeline: Timeline) -> str:
    """What the sound was and what became of it (EBU R 98: A algorithm, F rate, W bits, M mode, T text)."""
    facts, settings = media.facts, timeline.settings
    mode = _MODES.get(facts.channels, "multi")
    bits = f",W={facts.bit_depth}" if facts.bit_depth else ""
    change = "resampled with soxr VHQ" if facts.sample_rate_hz != settings.sample_rate_hz else "rate unchanged"
    return (
        f"A={'PCM' if not facts.lossy else facts.codec},F={facts.sample_rate_hz}{bits},M={mode},T=as it came\r\n"
        f"A=PCM,F={settings.sample_rate_hz},W={settings.bit_depth},M={mode},T={change}\r\n"
    )


def _finite(blocks: Iterator[Samples], changes: _Changes) -> Iterator[Samples]:
    """What is no number becomes silence: one of it would spread through a converter."""
    for block in blocks:
        bad = ~np.isfinite(block)
        if bad.any():
            changes.replaced_samples += int(np.count_nonzero(bad))
            yield np.where(bad, 0.0, block)
        else:
            yield block


def _at_rate(blocks: Iterator[Samples], media: Media, sample_rate_hz: int) -> Iterator[Samples]:
    if media.facts.sample_rate_hz == sample_rate_hz:
        yield from blocks
        return
    converter = soxr.ResampleStream(
        media.facts.sample_rate_hz, sample_rate_hz, media.facts.channels, dtype="float64", quality="VHQ"
    )
    for block in blocks:
        yield converter.resample_chunk(np.ascontiguousarray(block, np.float64))
    yield converter.resample_chunk(np.zeros((0, media.facts.channels)), last=True)


def _without_start(blocks: Iterator[Samples], cut_frames: int, name: str) -> Iterator[Samples]:
    """Leave the first frames out, if they are silent: anything else would be music lost."""
    for block in blocks:
        cut = block[:cut_frames]
        cut_frames -= len(cut)
        if np.abs(cut).max(initial=0.0) > amplitude_from_db(CUT_BELOW_DBFS):
            raise MapError(f"{name} has sound before the new start: choose a later start bar")
        if len(cut) < len(block):
            yield block[len(cut) :]


def _loses_bits(media: Media, bit_depth: int) -> bool:
    facts = media.facts
    bits = _MORE_BITS if facts.is_float or facts.bit_depth is None else facts.bit_depth
    return bit_depth < _MORE_BITS and bits > bit_depth


def _dithered(blocks: Iterator[Samples], bit_depth: int, changes: _Changes) -> Iterator[Samples]:
    """Triangular dither two steps wide, from a seeded generator: made again it is the same file.

    A block whose samples all fit the depth is copied as it is, and digital silence stays silent.
    """
    dice = np.random.default_rng(_DITHER_SEED)
    top = 2.0 ** (bit_depth - 1)
    for block in blocks:
        steps: Doubles = np.asarray(block, np.float64) * top
        if np.array_equal(steps, np.rint(steps)):
            yield block
            continue
        changes.dithered = True
        noise = dice.random(steps.shape) - dice.random(steps.shape)
        yield np.where(steps == 0.0, 0.0, steps + noise) / top


def _fill(sound: BroadcastWriter, blocks: Iterator[Samples], frames: int, name: str) -> None:
    over = 0
    for block in blocks:
        room = frames - sound.frames
        if room:
            sound.write(block[:room])
        over += max(0, len(block) - room)
        if over > _FRAMES_OVER_AT_MOST:
            raise MapError(f"{name} is longer than it was measured")


def _pad(sound: BroadcastWriter, frames: int, channels: int) -> None:
    while frames > 0:
        count = min(frames, _PAD_FRAMES)
        sound.write(np.zeros((count, channels), np.float32))
        frames -= count
