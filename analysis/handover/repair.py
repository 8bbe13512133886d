"""Makes a corrected set from a delivery's files: only what changes no sound, and nothing unasked.

Trim or pad to one length, move the set, turn one track over, store the bits that are used. Every sample that stays is
the sample that was, which is read back and compared; the originals are not touched. What was done is said in lines, for
the sheet.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from analysis.core.blocks import Block
from analysis.core.errors import RepairError
from analysis.core.reports import Record
from analysis.core.samples import Samples
from analysis.core.sentences import written
from analysis.levels.sample_levels import BitMeter
from analysis.media.broadcast import BROADCAST_DEPTHS, Broadcast, create_broadcast
from analysis.media.hashes import sha256_of_file
from analysis.media.reader import Media, open_media

_PADDING_FRAMES = 65_536


@dataclass(frozen=True)
class Repair(Record):
    """What to do with a set. `later_frames`: all files, negative is earlier. `frames`: the length of all; None keeps
    each file's own, moved. `flipped`: files to turn over; `true_depth`: files whose unused bits go; by name."""

    later_frames: int = 0
    frames: int | None = None
    flipped: tuple[str, ...] = ()
    true_depth: tuple[str, ...] = ()


@dataclass(frozen=True)
class RepairedFile(Record):
    """`lines`: what was done; none where the file is a copy of its sound. `held_samples`: of a flipped track, how many
    lay at negative full scale, which has no counterpart."""

    file: str
    sha256: str
    frames: int
    bit_depth: int
    lines: tuple[str, ...]
    held_samples: int = 0


def repair_set(paths: Sequence[Path], out: Path, repair: Repair) -> tuple[RepairedFile, ...]:
    """Write each file anew into the folder `out`.

    Raises
    ------
    RepairError
        When a file cannot be repaired without a change to its sound, or would be written over. Nothing is written
        then.
    UnusableFileError
        When a file cannot be read.
    """
    _refuse(paths, out, repair)
    depths = {path.name: _depth(path, path.name, repair) for path in paths}
    out.mkdir(parents=True, exist_ok=True)
    return tuple(_repaired(path, out / _wav(path.name), repair, path.name, depths[path.name]) for path in paths)


def repair_file(path: Path, target: Path, repair: Repair, *, name: str) -> RepairedFile:
    """Write one file of a set anew to `target`. `name`: what it is called in the set. Raises as `repair_set` does."""
    return _repaired(path, target, repair, name, _depth(path, name, repair))


def _wav(name: str) -> str:
    return f"{Path(name).stem}.wav"


def _refuse(paths: Sequence[Path], out: Path, repair: Repair) -> None:
    names = {path.name for path in paths}
    if unknown := {*repair.flipped, *repair.true_depth} - names:
        raise RepairError(f"there is no file {sorted(unknown)[0]} in the set")
    targets = [out / _wav(path.name) for path in paths]
    if len(set(targets)) < len(targets):
        raise RepairError("two files differ in their ending only, and would be written over each other")
    if taken := [target for target in targets if target.exists()]:
        raise RepairError(f"{taken[0]} exists already; originals and earlier sets are never written over")


def _depth(path: Path, name: str, repair: Repair) -> int:
    """The depth to store, which is the file's own unless its true one was asked for."""
    with open_media(path) as media:
        facts = media.facts
        if facts.lossy or facts.bit_depth not in BROADCAST_DEPTHS or (facts.bit_depth == 32 and not facts.is_float):
            raise RepairError(f"{name} is stored in a way that cannot be written again bit for bit")
        if name not in repair.true_depth:
            return facts.bit_depth
        used = _bits_in_use(media)
    fitting = [depth for depth in BROADCAST_DEPTHS if used is not None and used <= depth < (facts.bit_depth or 0)]
    if not fitting:
        raise RepairError(f"{name} uses all of its bits: a lower depth would change its sound")
    return fitting[0]


def _bits_in_use(media: Media) -> int | None:
    meter = BitMeter(media.facts.bit_depth, is_float=media.facts.is_float)
    done = 0
    for samples in media.blocks():
        meter.add(Block(samples, done))
        done += len(samples)
    return meter.finish()


def _repaired(path: Path, target: Path, repair: Repair, name: str, bit_depth: int) -> RepairedFile:
    with open_media(path) as media:
        facts = media.facts
        own_frames = facts.declared_frames or 0
        frames = max(0, own_frames + repair.later_frames) if repair.frames is None else repair.frames
        stamp = media.tags.get("time_reference_frames")
        broadcast = Broadcast(time_reference_frames=stamp) if isinstance(stamp, int) else None
        sign = -1 if name in repair.flipped else 1
        due = _Sound(bit_depth)
        with create_broadcast(
            target,
            sample_rate_hz=facts.sample_rate_hz,
            channels=facts.channels,
            bit_depth=bit_depth,
            frames=frames,
            broadcast=broadcast,
        ) as writer:
            for block in _moved(media, repair.later_frames, frames):
                writer.write(sign * block)
                due.add(sign * block)
        lines = _lines(name, repair, (own_frames, frames), (facts.bit_depth or 0, bit_depth))
        held = writer.held_samples
    if due.finish() != _sound_of(target, bit_depth):
        raise RepairError(f"{name} could not be written again bit for bit")
    return RepairedFile(_wav(name), sha256_of_file(target), frames, bit_depth, lines, held)


class _Sound:
    """A hash of every sample, as a file of this depth can hold it."""

    def __init__(self, bit_depth: int) -> None:
        self._top = np.float32(1 - 2.0 ** (1 - bit_depth)) if bit_depth < 32 else None
        self._digest = hashlib.sha256()

    def add(self, block: Samples) -> None:
        held = block if self._top is None else np.minimum(block, self._top)
        self._digest.update((np.asarray(held, np.float32) + np.float32(0)).tobytes())  # there is one zero only

    def finish(self) -> str:
        return self._digest.hexdigest()


def _sound_of(path: Path, bit_depth: int) -> str:
    sound = _Sound(bit_depth)
    with open_media(path) as media:
        for block in media.blocks():
            sound.add(block)
    return sound.finish()


def _moved(media: Media, later: int, frames: int) -> Iterator[Samples]:
    """The file's blocks, with silence before or without their start, and exactly so long."""
    channels, left = media.facts.channels, frames
    for block in _shifted(media, later):
        taken = block[:left]
        left -= len(taken)
        yield taken
        if not left:
            return
    yield from _silence(left, channels)


def _shifted(media: Media, later: int) -> Iterator[Samples]:
    yield from _silence(max(0, later), media.facts.channels)
    dropped = max(0, -later)
    for block in media.blocks():
        skipped = min(dropped, len(block))
        dropped -= skipped
        yield block[skipped:]


def _silence(frames: int, channels: int) -> Iterator[Samples]:
    for start in range(0, frames, _PADDING_FRAMES):
        yield np.zeros((min(_PADDING_FRAMES, frames - start), channels), np.float32)


def _lines(name: str, repair: Repair, lengths: tuple[int, int], depths: tuple[int, int]) -> tuple[str, ...]:
    lines = []
    if repair.later_frames:
        way = "later" if repair.later_frames > 0 else "earlier"
        lines.append(f"{name} was moved {written('_frames', abs(repair.later_frames))} {way}, with the whole set.")
    change = lengths[1] - max(0, lengths[0] + repair.later_frames)
    if change:
        is_are = "was" if abs(change) == 1 else "were"
        done = f"of silence {is_are} added" if change > 0 else f"{is_are} cut off"
        lines.append(f"{written('_frames', abs(change)).capitalize()} {done} at the end of {name}.")
    if name in repair.flipped:
        lines.append(f"The polarity of {name} was turned over.")
    if depths[0] != depths[1]:
        lines.append(f"{name} is stored in {depths[1]} bits, which are all it used of {depths[0]}.")
    if lines and _wav(name) != name:
        lines.append(f"{name} is stored as {_wav(name)}.")
    return tuple(lines)
