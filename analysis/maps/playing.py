"""A tempo map with the playing on it, as the figures that a page draws: bars, tempi, and how late each attack is."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import count
from typing import Any

import numpy as np

from analysis.maps.anchors import Anchor
from analysis.maps.click import clicks_between
from analysis.maps.residual import (
    Lean,
    PooledAttacks,
    Residual,
    leans_by_anchor,
    leans_by_bar,
    residual_of,
    weighted_middle,
)
from analysis.maps.tempo_map import TempoMap

# More dots than this are one blot on any screen (house choice).
MOST_DOTS = 4_000
# Tempi are shown to this many decimals: 0.0001 BPM at 120 is 0.25 ms after five minutes (arithmetic).
_DIGITS = 4


def playing_on_map(
    tempo_map: TempoMap, anchors: Sequence[Anchor], attacks: PooledAttacks, duration_s: float
) -> dict[str, Any]:
    """Everything that is drawn of one map: its stretches between anchors, its bars and beats, and the attacks on it.

    Returns
    -------
    dict
        `stretches` (one an anchor), `bars`, `beats_s` ([time in s, 1 on a bar line]), `dots` ([time in s, lateness in
        ms, weight from 0 to 1]), `spread_ms` (weighted median distance from the map; None without attacks).
    """
    residual = residual_of(tempo_map, attacks.time_s, attacks.weight)
    starts_s = [float(anchor.time_s) for anchor in anchors]
    leans = leans_by_anchor(residual, starts_s, max(duration_s, starts_s[-1] + 1))
    return {
        "duration_s": duration_s,
        "stretches": [_stretch(anchor, tempo_map, lean) for anchor, lean in zip(anchors, leans, strict=True)],
        "bars": _bars_with(residual, tempo_map, duration_s),
        "beats_s": beats_of(tempo_map, duration_s),
        "dots": dots_of(residual),
        "spread_ms": _spread_ms(residual),
    }


def bars_played(tempo_map: TempoMap, attacks: PooledAttacks, duration_s: float) -> list[dict[str, Any]]:
    """The ruler's bars, each with how late the playing in it is (ms) and how many attacks say so."""
    return _bars_with(residual_of(tempo_map, attacks.time_s, attacks.weight), tempo_map, duration_s)


def _bars_with(residual: Residual, tempo_map: TempoMap, duration_s: float) -> list[dict[str, Any]]:
    bars = list(bars_of(tempo_map, duration_s))
    leans = leans_by_bar(residual, tempo_map, [line["bar"] for line in bars])
    return [
        line | {"late_ms": _rounded_ms(lean.late_ms), "attacks": lean.count}
        for line, lean in zip(bars, leans, strict=True)
    ]


def _stretch(anchor: Anchor, tempo_map: TempoMap, lean: Lean) -> dict[str, Any]:
    segment = tempo_map.segment_at_bar(anchor.bar)
    return {
        "bpm": round(float(segment.bpm), _DIGITS),
        "beat_s": float(segment.beat_s),
        "beat": "" if segment.meter.beat_name == "quarter" else segment.meter.beat_name,
        "late_ms": _rounded_ms(lean.late_ms),
        "spread_ms": _rounded_ms(lean.spread_ms),
        "attacks": lean.count,
    }


def _rounded_ms(ms: float | None) -> float | None:
    return None if ms is None else round(ms, 1)


def dots_of(residual: Residual) -> list[list[float]]:
    """Time, lateness in ms, weight from 0 to 1; the strongest when there are too many."""
    if not len(residual.time_s):
        return []
    strongest = np.sort(np.argsort(-residual.weight)[:MOST_DOTS])
    share = residual.weight[strongest] / residual.weight.max()
    table = np.stack([residual.time_s[strongest], residual.late_ms[strongest], share], axis=1)
    rounded: list[list[float]] = table.round(3).tolist()
    return rounded


def _spread_ms(residual: Residual) -> float | None:
    """The weighted median distance from the map, over the whole song."""
    if not len(residual.late_ms):
        return None
    return round(weighted_middle(np.abs(residual.late_ms), residual.weight), 1)


def bars_of(tempo_map: TempoMap | None, duration_s: float) -> Iterator[dict[str, Any]]:
    if tempo_map is None:
        return
    # A map that counts a pickup begins before bar one. A bar has at least a beat, and a beat 60 ms: the list ends.
    for bar in count(min(1, tempo_map.segments[0].bar)):
        time_s = float(tempo_map.time_of_bar(bar))
        if time_s >= duration_s:
            return
        meter = tempo_map.segment_at_bar(bar).meter
        line = {"bar": bar, "time_s": time_s, "beats": meter.beats_per_bar, "meter": str(meter)}
        yield line | {"free": True} if tempo_map.is_free_bar(bar) else line


def beats_of(tempo_map: TempoMap | None, duration_s: float) -> list[list[float]]:
    """[seconds, 1 on a bar line else 0], for the click; exact to the microsecond. As in the click that is prepared, a
    free passage has none but the bar that counts in what follows it."""
    bars = list(bars_of(tempo_map, duration_s))
    if tempo_map is None or not bars:
        return []
    clicks = clicks_between(tempo_map, bars[0]["bar"], bars[-1]["bar"])
    return [[round(float(one.time_s), 7), 0 if one.beat else 1] for one in clicks if one.time_s < duration_s]
