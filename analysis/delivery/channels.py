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
# What a drum multitrack usually holds, in the usual order (common practice; the labels are a house choice). A label is
# read by `channel_of` like any other name.
LABELS = {
    "KickIn": "kick, inside",
    "KickOut": "kick, outside",
    "KickSub": "kick, low",
    "SnTop": "snare, top",
    "SnBot": "snare, bottom",
    "Hat": "hi-hat",
    "Tom1": "tom 1",
    "Tom2": "tom 2",
    "Floor1": "floor tom 1",
    "Floor2": "floor tom 2",
    "Ride": "ride",
    "OHL": "overhead, left",
    "OHR": "overhead, right",
    "OH": "overheads",
    "RmL": "room, left",
    "RmR": "room, right",
    "Rm": "rooms",
    "RmMono": "room, mono",
    "Click": "click",
    "DrumMix": "mix of the drums",
    "Other": "something else",
}
_LABELS_BY_KIND = {"kick": ("KickIn", "KickOut"), "snare": ("SnTop", "SnBot")}
_NUMBERED = {"tom": "Tom", "floor": "Floor"}
_OF_ONE_KIND = {"hat": "Hat", "ride": "Ride", "click": "Click", "mix": "DrumMix"}
_BY_SIDE = {"overhead": "OH", "room": "Rm"}
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


def label_of(name: str) -> str:
    """The label of `LABELS` that a name says; "" where it leaves that open, as the third tom of a kit does."""
    channel = channel_of(name)
    if channel.kind in _LABELS_BY_KIND:
        label = _LABELS_BY_KIND[channel.kind][channel.other_head]
    elif channel.kind in _NUMBERED:
        number = re.search(r"\d+(?!.*\d)", name)
        label = f"{_NUMBERED[channel.kind]}{number[0] if number else 1}"
    elif channel.kind in _BY_SIDE:
        label = _BY_SIDE[channel.kind] + channel.side[:1].upper()
    else:
        label = _OF_ONE_KIND.get(channel.kind, "")
    return label if label in LABELS else ""


def _side(kind: str, name: str) -> str:
    found = _SIDE.search(name) if kind in ("overhead", "room") else None
    return {"l": "left", "r": "right"}[found[0][0].lower()] if found else ""
