"""How sure a draft is, and how often it is right: of sections, hits and measured bars, by bins of their confidence."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from itertools import pairwise
from typing import Any

import numpy as np

from analysis.core.chart_draft import ChartDraft
from analysis.core.samples import Doubles
from bench.form.figures import PLACE_BEATS

Claim = tuple[float, bool]
BINS = (0.0, 0.5, 0.6, 0.7, 0.8, 0.9, 0.95, 1.01)
# A measured bar line is right within this; the bars are, if so many of the lines are. The last bars slow down or fade:
# how they end is counted by itself.
LINE_S, RIGHT_SHARE, LAST_BARS = 0.07, 0.97, 4


def section_claims(draft: ChartDraft, truth: Mapping[str, Any]) -> list[Claim]:
    """A section is right if both its ends are true borders, exactly."""
    edges = {section["start_bar"] for section in truth["sections"]} | {truth["bars"] + 1}
    return [(one.confidence, {one.start_bar, one.start_bar + one.bars} <= edges) for one in draft.sections]


def hit_claims(draft: ChartDraft, truth: Mapping[str, Any]) -> list[Claim]:
    """A hit is right if a true one stands in its bar within half a sixteenth."""
    return [
        (
            hit.confidence,
            any(hit.bar == one["bar"] and abs(hit.beat - one["beat"]) < PLACE_BEATS for one in truth["hits"]),
        )
        for hit in draft.hits
    ]


def are_bars_right(found_s: Sequence[float], true_s: Sequence[float]) -> bool:
    """Whether nearly all bar lines before the last bars are true ones, and the true ones there are found."""
    if len(found_s) < 2:
        return False
    found, true = np.array(found_s), np.array(true_s[: -LAST_BARS - 1])
    inside = found[(found > true[0] - LINE_S) & (found < true[-1] + LINE_S)]
    return share_near(true, found) > RIGHT_SHARE and share_near(inside, true) > RIGHT_SHARE


def share_near(times_s: Doubles, others_s: Doubles) -> float:
    """How many of the times are those of a line among the others, as a share; both float64 arrays, shape (n,)."""
    if not len(times_s):
        return 0.0
    return float((np.abs(times_s[:, None] - others_s[None, :]).min(axis=1) < LINE_S).mean())


def print_calibration(claims: Mapping[str, Iterable[Claim]]) -> None:
    """One column for each kind of claim: the share that is right, and how many there are."""
    columns = {name: list(found) for name, found in claims.items()}
    print("\nHow sure, and how often right: share right (how many)")
    print(f"  {'confidence':<16}" + "".join(f"{name:>16}" for name in columns))
    for low, high in pairwise(BINS):
        cells = [_cell([right for sure, right in found if low <= sure < high]) for found in columns.values()]
        print(f"  {f'{low:.2f} to {min(high, 1):.2f}':<16}" + "".join(f"{cell:>16}" for cell in cells))


def _cell(right: Sequence[bool]) -> str:
    return f"{np.mean(right):.2f} ({len(right)})" if right else "-"
