"""What a check of a delivery hands out.

Tested in `tests/analysis/delivery/test_verify.py`.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, Self

from analysis.core.reports import Record

if TYPE_CHECKING:
    from analysis.media.reader import Media


# What needs not be decided any more when this one is.
_PLACED_BY = {
    "lined-up": frozenset({"tempo", "on-the-map", "fits-originals", "whole-bars"}),
    "fits-originals": frozenset({"whole-bars"}),
}


@dataclass(frozen=True)
class Check(Record):
    """One thing looked at. `message` is a plain sentence, passed or not; `file` is None for the set as a whole.
    `undecided` says that it could not be decided: it does not block, and assures nobody of anything. `low` and `high`
    hold the true value 95 times in 100, where the check can say so; `place_s` is where to look and listen."""

    code: str
    file: str | None
    passed: bool
    value: Any = None
    limit: Any = None
    message: str = ""
    undecided: bool = False
    low: float | None = None
    high: float | None = None
    place_s: float | None = None


@dataclass(frozen=True)
class VerifyReport(Record):
    """`headers` holds by file name what each readable file says by itself: `Header` as plain JSON.

    `open_checks`: the codes that could not be decided, and that no other check decided in their place. A set without
    faults is ready only when there are none.
    """

    passed: bool
    checks: tuple[Check, ...] = ()
    headers: dict[str, dict[str, Any]] = field(default_factory=dict)
    open_checks: tuple[str, ...] = ()


def still_open(checks: Sequence[Check]) -> tuple[str, ...]:
    """A set that lies in the accepted mix to the sample needs no rhythm to place it; one that lies on the drums in the
    client's music needs no ends."""
    decided = {check.code for check in checks if check.passed and not check.undecided}
    done = frozenset().union(*(codes for by, codes in _PLACED_BY.items() if by in decided))
    codes = dict.fromkeys(check.code for check in checks if check.undecided)
    return tuple(code for code in codes if code not in done)


@dataclass(frozen=True)
class Header(Record):
    """What a file says by itself before it is decoded."""

    sample_rate_hz: int
    bit_depth: int | None
    channels: int
    frames: int | None
    missing_bytes: int
    lossy: bool
    time_reference_frames: int | None

    @classmethod
    def of(cls, media: Media) -> Self:
        facts, stamp = media.facts, media.tags.get("time_reference_frames")
        return cls(
            sample_rate_hz=facts.sample_rate_hz,
            bit_depth=facts.bit_depth,
            channels=facts.channels,
            frames=facts.declared_frames,
            missing_bytes=media.missing_bytes,
            lossy=facts.lossy,
            time_reference_frames=stamp if isinstance(stamp, int) else None,
        )
