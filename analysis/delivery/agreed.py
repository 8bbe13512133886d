"""What was agreed about the files of a delivery: their rate, their depth, and where in the song they begin.

Without a word about it, files begin where the client's files begin (trade practice: one common start).
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace

from analysis.core.reports import Record
from analysis.core.sentences import written
from analysis.delivery.check_results import Check, Header
from analysis.maps.tempo_map import TempoMap, exact


@dataclass(frozen=True)
class Agreed(Record):
    """None where nothing was agreed. `zero_s`: the time of the client's files at which the tracks begin; negative where
    they begin before them."""

    sample_rate_hz: int | None = None
    bit_depth: int | None = None
    zero_s: float = 0.0


def agreed_checks(headers: Mapping[str, Header], agreed: Agreed) -> Iterator[Check]:
    """One check for each thing that was agreed."""
    if headers and agreed.sample_rate_hz:
        rates = {name: header.sample_rate_hz for name, header in headers.items()}
        yield _as_agreed("agreed-rate", "_hz", rates, agreed.sample_rate_hz)
    if headers and agreed.bit_depth:
        depths = {name: header.bit_depth for name, header in headers.items()}
        yield _as_agreed("agreed-depth", "_bits", depths, agreed.bit_depth)


def _as_agreed(code: str, unit: str, found: Mapping[str, int | None], due: int) -> Check:
    others = {name: value for name, value in found.items() if value != due}
    if not others:
        return Check(code, None, passed=True, value=due, limit=due, message=f"All at {_words(unit, due)}, as agreed.")
    value = Counter(others.values()).most_common(1)[0][0]
    who = "The set is" if len(others) == len(found) else f"{', '.join(others)}:"
    message = f"{who} at {_words(unit, value)}; {_words(unit, due)} were agreed."
    return Check(code, None, passed=False, value=value, limit=due, message=message)


def _words(unit: str, value: int | None) -> str:
    if unit == "_hz":
        return written(unit, value)
    return f"{value} bits" if value else "no fixed number of bits"


def in_files_time(tempo_map: TempoMap, zero_s: float) -> TempoMap:
    """The map in the time of tracks that begin `zero_s` after the client's files."""
    moved = exact(zero_s)
    return TempoMap(tuple(replace(segment, time_s=segment.time_s - moved) for segment in tempo_map.segments))
