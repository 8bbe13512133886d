"""What part a file plays, by the words in its name."""

from __future__ import annotations

import re

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
_NOT_A_LETTER = re.compile(r"[^a-z]+")
_CAMEL = re.compile(r"(?<=[a-z])(?=[A-Z])")


def role_in_name(name: str) -> str:
    """A key of `WORDS`, or `OTHER`; a file's ending does not count."""
    stem = name.rpartition(".")[0] or name
    words = WITHOUT.sub(" ", _NOT_A_LETTER.sub(" ", _CAMEL.sub(" ", stem).lower())).split()
    return next((role for role, known in WORDS.items() if any(word in known for word in words)), OTHER)
