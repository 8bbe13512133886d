"""What part a file plays, by its name: one rule, for groups of sliders and for music without the guide drums."""

from __future__ import annotations

import re

from analysis.core import FileReport

# Words as clients write them into names of stems (common practice, from memory). The first role with a word in the
# name is the file's; "mix" comes last: a "drum mix" is drums.
WORDS = {
    "click": ("click", "clk", "metronome", "metro"),
    "drums": (
        *("drum", "drums", "drumkit", "kit", "kick", "kik", "bd", "snare", "sn", "hat", "hats", "hihat", "tom", "toms"),
        *("overhead", "overheads", "oh", "cymbal", "cymbals", "ride", "crash", "perc", "percussion", "loop", "beat"),
    ),
    "bass": ("bass", "sub", "contrabass"),
    "guitars": ("guitar", "guitars", "gtr", "gtrs", "gt", "egtr", "agtr", "acoustic", "mandolin", "banjo"),
    "keys": ("key", "keys", "keyboard", "piano", "organ", "synth", "synths", "pad", "pads", "clav", "epiano"),
    "voices": (
        *("vocal", "vocals", "vox", "voice", "voices", "voc", "bv", "bvs", "choir", "singer"),
        *("backing", "backings", "harmony"),
    ),
    "strings": ("string", "strings", "violin", "viola", "cello", "orchestra"),
    "winds": ("brass", "horn", "horns", "trumpet", "trombone", "sax", "flute", "clarinet", "winds"),
    "mix": ("mix", "rough", "reference", "ref", "master", "demo", "bounce"),
}
OTHER = "other"
# "mix no drums" has none.
WITHOUT = re.compile(r"\b(?:no|without|minus)\s+\w+")
NOT_A_LETTER = re.compile(r"[^a-z]+")
CAMEL = re.compile(r"(?<=[a-z])(?=[A-Z])")


def role_of(name: str, report: FileReport | None, *, is_click: bool) -> str:
    """A key of `WORDS`, or "other". What was measured decides where the name says nothing: drums are drums."""
    if is_click:
        return "click"
    stem = name.rpartition(".")[0] or name
    words = WITHOUT.sub(" ", NOT_A_LETTER.sub(" ", CAMEL.sub(" ", stem).lower())).split()
    said = next((role for role, known in WORDS.items() if any(word in known for word in words)), OTHER)
    if said == OTHER and report is not None and report.drums.present:
        return "drums"
    return said
