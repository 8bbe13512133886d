"""Reads what the client stated, and refuses what no one can have meant."""

from __future__ import annotations

import math
from typing import Any, get_args

from analysis.core.errors import BriefError
from analysis.core.reports import Brief, Starts
from analysis.maps.tempo_map import MeterSign, TempoMapError

# Slower or faster than any felt beat in music (house choice).
_SLOWEST_BPM, _FASTEST_BPM = 20.0, 400.0
_STARTS: tuple[Starts, ...] = get_args(Starts)


def brief_from_json(data: dict[str, Any]) -> Brief:
    """Raises BriefError with a sentence for whoever wrote it."""
    bpm = _number(data, "bpm", _SLOWEST_BPM, _FASTEST_BPM)
    rate_hz = _number(data, "sample_rate_hz", 1_000, 768_000)
    return Brief(
        bpm=bpm,
        meter=_meter(data.get("meter")),
        starts=_starts(data.get("starts") or "unknown"),
        count_in_bars=_number(data, "count_in_bars", 0, 64),
        sample_rate_hz=None if rate_hz is None else round(rate_hz),
        duration_s=_number(data, "duration_s", 0, 86_400),
        make_map=bool(data.get("make_map", False)),
        click_promised=bool(data.get("click_promised", False)),
    )


def _starts(raw: object) -> Starts:
    for start in _STARTS:
        if raw == start:
            return start
    raise BriefError(f"starts must be one of {', '.join(_STARTS)}, not {raw!r}")


def _number(data: dict[str, Any], name: str, low: float, high: float) -> float | None:
    raw = data.get(name)
    if raw is None or raw == "":
        return None
    try:
        value = float(raw)
    except (TypeError, ValueError):
        raise BriefError(f"{name} must be a number, not {raw!r}") from None
    if not math.isfinite(value) or not low <= value <= high:
        raise BriefError(f"{name} must be between {low:g} and {high:g}, not {raw!r}")
    return value


def _meter(raw: object) -> str | None:
    if raw is None or raw == "":
        return None
    try:
        return str(MeterSign.parse(str(raw)))
    except TempoMapError as error:
        raise BriefError(str(error)) from error
