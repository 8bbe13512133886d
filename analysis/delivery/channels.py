"""What a file's name says it holds: which drum, which head, which side."""

from __future__ import annotations

import re
from dataclasses import dataclass

# In this order: "floor tom" is a floor tom, "snare room" a room (common practice; no standard fixes names).
_KINDS = (
    ("click", r"(?<![a-z])(click|metronome|cue)(?![a-z])"),
    ("mix", r"drum[ _-]?mix|(?<![a-z])(mix|bounce|rough)(?![a-z])"),
    ("room", r"(?<![a-z])(rooms?|rm|amb(ience)?)(?![a-km-qs-z])|(?<![a-z])rm(?=[lrm])"),
    ("overhead", r"(?<![a-z])(oh|over[ _-]?heads?)"),
    ("kick", r"(?<![a-z])(kick|bd|bass[ _-]?drum)"),
    ("snare", r"(?<![a-z])(snare|sn(?=top|bot|btm|[ _-]|$))"),
    ("hat", r"(?<![a-z])(hi[ _-]?hat|hats?|hh)(?![a-z])"),
    ("ride", r"(?<![a-z])ride"),
    ("floor", r"(?<![a-z])(floor|ft)"),
    ("tom", r"(?<![a-z])(rack|tom)"),
)
_OTHER_HEAD = re.compile(r"(bottom|bot|btm|under|out|front|res(onant)?)(?![a-z])", re.I)
_SIDE = re.compile(r"(left|right|l|r)$", re.I)
# What stands close to a drum of its own.
CLOSE_KINDS = frozenset({"kick", "snare", "hat", "ride", "floor", "tom"})


@dataclass(frozen=True)
class Channel:
    """`kind` is "other" where the name says nothing; `side` "left", "right" or ""."""

    kind: str
    other_head: bool = False
    side: str = ""

    @property
    def is_close(self) -> bool:
        return self.kind in CLOSE_KINDS

    @property
    def hears_the_kit(self) -> bool:
        return self.is_close or self.kind in ("overhead", "room")


def channel_of(name: str) -> Channel:
    """Read a track's name, without its ending: `SnBot` is the snare's other head, `OHL` the left overhead."""
    for kind, pattern in _KINDS:
        if re.search(pattern, name, re.I):
            return Channel(kind, kind in ("kick", "snare") and bool(_OTHER_HEAD.search(name)), _side(kind, name))
    return Channel("other")


def _side(kind: str, name: str) -> str:
    found = _SIDE.search(name) if kind in ("overhead", "room") else None
    return {"l": "left", "r": "right"}[found[0][0].lower()] if found else ""
