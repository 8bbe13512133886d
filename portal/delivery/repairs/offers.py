"""What a set's failed checks allow to be corrected: nothing that changes a sound, and nothing unasked.

Each offer is a sentence with a key; the drummer's page sends back the keys of those that are wanted.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection, Iterator
from dataclasses import dataclass, field
from typing import Any

from analysis.handover import Repair
from portal.delivery.models import Delivery, DeliveryFile
from portal.delivery.names import fold, house_names

LONGEST, USUAL, MOVE, DEPTH, NAMES, FLIP, RENAME = "longest", "usual", "move", "depth", "names", "flip:", "rename:"
DEPTHS = (16, 24)
# Other faults of the line-up: moving a set that has one of them would be guessing.
NOT_ONLY_MOVED = frozenset({"same-take", "speed", "break", "drift"})


@dataclass(frozen=True)
class Offer:
    """`usual`: ticked where the page is opened."""

    key: str
    words: str
    usual: bool = True


@dataclass(frozen=True)
class Wanted:
    """`renamed`: the new name by the old one."""

    repair: Repair
    renamed: dict[str, str] = field(default_factory=dict)

    def changes(self, file: DeliveryFile) -> bool:
        """Whether a file's sound is written anew."""
        repair, length = self.repair, file.facts.get("frames")
        is_moved = bool(repair.later_frames) or (repair.frames is not None and length != repair.frames)
        return is_moved or file.name in repair.flipped or file.name in repair.true_depth


def offers_of(delivery: Delivery, files: Collection[DeliveryFile]) -> tuple[Offer, ...]:
    """Of a checked set, for the failures that nobody waived, and for names that the house gives."""
    failures, named = delivery.failures, house_names(delivery, files)
    return (
        *_lengths(failures, files),
        *_moves(delivery, failures),
        *_depths(failures, files),
        *_flips(failures),
        *_renames(failures, named),
        *_house_names(named),
    )


def wanted_of(delivery: Delivery, files: Collection[DeliveryFile], keys: Collection[str]) -> Wanted | None:
    """What these offers come to; None where none of them stands."""
    standing = {offer.key for offer in offers_of(delivery, files)} & set(keys)
    if not standing:
        return None
    later = _later_frames(delivery, delivery.failures) if MOVE in standing else 0
    lengths = _frames(files)
    length = max(lengths, default=0) if LONGEST in standing else _usual(lengths) if USUAL in standing else None
    names = [file.name for file in files]
    return Wanted(
        Repair(
            later_frames=later,
            frames=None if length is None else max(0, length + later),
            flipped=tuple(name for name in names if f"{FLIP}{name}" in standing),
            true_depth=tuple(names) if DEPTH in standing else (),
        ),
        {old: new for old, new in _new_names(delivery.failures).items() if f"{RENAME}{old}" in standing}
        | (house_names(delivery, files) if NAMES in standing else {}),
    )


def _lengths(failures: list[dict[str, Any]], files: Collection[DeliveryFile]) -> Iterator[Offer]:
    """As long as the longest: nothing is cut. As long as most: ends are."""
    if not any(check["code"] == "length" for check in failures):
        return
    lengths = _frames(files)
    longest, usual = max(lengths, default=0), _usual(lengths)
    short = sum(length < longest for length in lengths)
    yield Offer(
        LONGEST, f"Add silence at the end of {_files(short)}, so that all have {longest} samples. Nothing is cut off."
    )
    if usual < longest:
        long = [file.name for file in files if (file.facts.get("frames") or 0) > usual]
        words = f"Cut {', '.join(long)} off at {usual} samples instead, as most are, and lengthen the others."
        yield Offer(USUAL, words, usual=False)


def _moves(delivery: Delivery, failures: list[dict[str, Any]]) -> Iterator[Offer]:
    """Never ticked by default: it touches every file, and cuts their start off where the set is late."""
    frames = _later_frames(delivery, failures)
    if frames:
        how = "silence is added at the start" if frames > 0 else "what lies before is cut off at the start"
        way = "later" if frames > 0 else "earlier"
        yield Offer(MOVE, f"Move all files {abs(frames)} samples {way}: {how}.", usual=False)


def _later_frames(delivery: Delivery, failures: list[dict[str, Any]]) -> int:
    """By how much the set has to move to lie in the accepted mix; 0 where that is not all, waived or not, and where one
    track lies elsewhere or nobody can tell."""
    if any(check["code"] == "arrival" and (check.get("undecided") or not check["passed"]) for check in delivery.checks):
        return 0
    codes = {check["code"] for check in delivery.checks if not check["passed"]}
    lags = [check["value"] for check in failures if check["code"] == "lined-up"]
    return -lags[0] if len(lags) == 1 and isinstance(lags[0], int) and not codes & NOT_ONLY_MOVED else 0


def _depths(failures: list[dict[str, Any]], files: Collection[DeliveryFile]) -> Iterator[Offer]:
    """Only for all files at once: a set has one depth. What was dithered up uses its bits, and stays."""
    used = {check["file"]: check["value"] for check in failures if check["code"] == "bits" and check["limit"] is None}
    fitting = {min((depth for depth in DEPTHS if depth >= used.get(file.name, 99)), default=None) for file in files}
    if len(fitting) == 1 and (depth := fitting.pop()) and all(depth < file.facts.get("bit_depth", 0) for file in files):
        yield Offer(DEPTH, f"Store all files in {depth} bits, which are all that they use.")


def _flips(failures: list[dict[str, Any]]) -> Iterator[Offer]:
    odd = [check["file"] for check in failures if check["code"] == "polarity" and check["file"]]
    yield from (Offer(f"{FLIP}{name}", f"Turn the polarity of {name} over.", usual=len(odd) == 1) for name in odd)


def _renames(failures: list[dict[str, Any]], named_by_house: Collection[str]) -> Iterator[Offer]:
    for old, new in _new_names(failures).items():
        if old not in named_by_house:
            yield Offer(f"{RENAME}{old}", f"Rename {old} to {new}.")


def _new_names(failures: list[dict[str, Any]]) -> dict[str, str]:
    """By their checks; two files that would get one name keep theirs."""
    unsafe = {check["file"]: check["limit"] for check in failures if check["code"] == "safe-name"}
    folded = Counter(fold(new) for new in unsafe.values())
    return {old: new for old, new in unsafe.items() if folded[fold(new)] == 1}


def _house_names(names: dict[str, str]) -> Iterator[Offer]:
    if names:
        old, new = next(iter(names.items()))
        yield Offer(NAMES, f"Name {_files(len(names))} as this house does, {old} as {new}.")


def _frames(files: Collection[DeliveryFile]) -> list[int]:
    return [file.facts.get("frames") or 0 for file in files]


def _usual(lengths: list[int]) -> int:
    return Counter(lengths).most_common(1)[0][0] if lengths else 0


def _files(count: int) -> str:
    return "one file" if count == 1 else f"{count} files"
