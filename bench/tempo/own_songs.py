"""The set that anyone can make: songs by the project's own band, written as audio with a manifest."""

from __future__ import annotations

import json
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import soundfile

from analysis.band.render import Stem, mix_stems, render_stems, write_wav
from analysis.band.score import write_score
from analysis.band.truth import Truth
from bench.tempo.development_set import Item, draw_items
from bench.tempo.known import MANIFEST

SAMPLE_RATES_HZ = (44_100, 48_000)


def make_set(folder: Path, seed: int, songs: int, feels: Sequence[str] = ()) -> Path:
    """Render a set, in all feels or only in some, which takes seconds a song; a finished one is kept."""
    if not (folder / MANIFEST).exists():
        lines = [
            json.dumps(_render(item, folder, SAMPLE_RATES_HZ[number % 2]))
            for number, item in enumerate(draw_items(seed, songs, feels))
        ]
        (folder / MANIFEST).write_text("\n".join(lines) + "\n")
    return folder


def _render(item: Item, folder: Path, rate: int) -> dict[str, Any]:
    written = write_score(item.plan)
    stems: dict[str, Stem] = render_stems(written, rate)
    sounds = {"mix": mix_stems(stems)} if item.sent == "mix" else stems
    paths = [write_wav(folder / f"{item.name}_{name}.wav", sound, rate) for name, sound in sounds.items()]
    line = line_of(item.name, item.category, written.truth)
    click = f"{item.name}_click.wav" if item.sent != "mix" and "click" in stems else None
    return line | {
        "files": [path.name for path in paths],
        "dur": soundfile.info(paths[0]).duration,
        "click_file": click,
    }


def line_of(name: str, category: str, truth: Truth) -> dict[str, Any]:
    """The truth as a manifest says it. A song whose only unevenness is one odd bar is `constant` in kind."""
    return {
        "id": name,
        "cat": category,
        "bpm": float(truth.bpm),
        "constant": truth.is_constant,
        "kind": truth.kind,
        "beats": truth.beats_s,
        "downbeats": truth.downbeats_s,
        "bar1": float(truth.bar_one_s),
        "meter": truth.meter,
        "files": [],
        "dur": 0.0,
    }
