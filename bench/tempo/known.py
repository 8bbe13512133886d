"""Songs whose answers are known: a folder of audio with a `manifest.jsonl`, one song a line.

Needed keys: `id`, `files`, `dur`, `bpm` (of the felt beat), `constant`, `kind` (`const`, `drift`, `step`, `rit` ...).
Scored where given: `beats`, `downbeats`, `bar1` (seconds from the start of the files), `meter`. Special cases:
`octave_free` (the level is a matter of taste), `loose` (too loose for the narrow window), `late_stem` and `late_s`,
`click_file` and `click_late_s`. `cat`, `drums` and `meter` say under which heading a song is counted; `group` and
`style` (the song, the pattern it plays) in which fold it was when the weights were fitted.
"""

from __future__ import annotations

import json
from dataclasses import dataclass
from pathlib import Path
from typing import Any

MANIFEST = "manifest.jsonl"
KIND_NAMES = {"const": "constant", "rit": "slowing"}


@dataclass(frozen=True)
class Known:
    """One song and what is true of it. None: not known, so not asked."""

    name: str
    category: str
    bpm: float
    kind: str = "constant"
    is_constant: bool = True
    beats_s: tuple[float, ...] | None = None
    downbeats_s: tuple[float, ...] | None = None
    bar_one_s: float | None = None
    meter: str | None = None
    paths: tuple[Path, ...] = ()
    duration_s: float = 0.0
    level_is_free: bool = False
    is_loose: bool = False
    click_late_s: float = 0.0
    are_clicks: tuple[bool, ...] = ()
    due_findings: frozenset[str] | None = None
    group: str = ""
    style: str = ""

    @property
    def felt_levels(self) -> tuple[float, ...]:
        return (1, 2, 1 / 2, 4, 1 / 4, 3, 1 / 3) if self.level_is_free else (1,)

    @property
    def is_only_click(self) -> bool:
        return all(self.are_clicks) and bool(self.are_clicks)


def read_set(folder: Path) -> list[Known]:
    return [known_of(json.loads(line), folder) for line in (folder / MANIFEST).read_text().splitlines()]


def known_of(item: dict[str, Any], folder: Path) -> Known:
    is_click = item.get("cat") == "click"
    return Known(
        name=item["id"],
        category=_category(item),
        bpm=float(item["bpm"]),
        kind=KIND_NAMES.get(item["kind"], item["kind"]),
        is_constant=item["constant"],
        beats_s=_times(item.get("beats")),
        downbeats_s=_times(item.get("downbeats")),
        bar_one_s=item.get("bar1"),
        meter=item.get("meter"),
        paths=tuple(folder / name for name in item["files"]),
        duration_s=item["dur"],
        level_is_free=bool(item.get("octave_free")),
        is_loose=bool(item.get("loose")),
        click_late_s=item.get("click_late_s") or 0.0,
        are_clicks=tuple(is_click or name == item.get("click_file") for name in item["files"]),
        due_findings=_due_findings(item) if item.get("cat") == "multi" else None,
        group=item.get("group", ""),
        style=item.get("style", ""),
    )


def _times(values: list[float] | None) -> tuple[float, ...] | None:
    return tuple(values) if values else None


def _category(item: dict[str, Any]) -> str:
    if item.get("cat") == "real":
        return "real stems" if len(item["files"]) > 1 else "real mix" if item["drums"] else "real guitar"
    if item.get("cat") != "rend":
        return str(item.get("cat", "songs"))
    if item["meter"] == "7/8":
        return "7/8"
    return "varying" if not item["constant"] else "drums" if item["drums"] else "no drums"


def _due_findings(item: dict[str, Any]) -> frozenset[str]:
    due = {"start-differs": item.get("late_s"), "click-differs": item.get("click_late_s")}
    return frozenset(code for code, late_s in due.items() if late_s)
