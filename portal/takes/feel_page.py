"""How the takes of a song sit against its beats, drawn over the bars: described, never scored.

Good players sit some milliseconds off a click, and keep it: early and late are said, nothing is called wrong.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from analysis.delivery import FeelReport
from analysis.handover import TakePlace
from portal.takes.models import RoughMix

# By the engine's name for a band of sound, as a drummer calls what sounds in it.
DRUMS = {"low": "Kick", "middle": "Snare and toms", "high": "Hat and cymbals"}
WIDTH, HEIGHT, LEFT, TOP = 720, 96, 44, 4
# Offsets are drawn to the same scale for all drums, at least so many milliseconds either way (house choice).
LEAST_REACH_MS = 20.0
REACH_STEP_MS = 10.0
MOST_DRAWN = 3
MOST_BAR_LINES = 12


@dataclass(frozen=True)
class Step:
    """One section of one take: a line at its middle, a box that holds two strokes in three."""

    x: float
    width: float
    y: float
    top: float
    height: float
    words: str


@dataclass(frozen=True)
class Row:
    """One take's figures for one drum, in words."""

    label: str
    strokes: int
    middle: str
    spread: str
    trend: str


@dataclass(frozen=True)
class DrumDrawn:
    """`takes`: steps by the place of the take among those drawn, the newest first."""

    name: str
    takes: tuple[tuple[int, tuple[Step, ...]], ...]
    rows: tuple[Row, ...]


@dataclass(frozen=True)
class Placed:
    """Where a mix lies, in words, and why there is no feel."""

    label: str
    words: str
    trouble: str


@dataclass(frozen=True)
class FeelPage:
    drums: tuple[DrumDrawn, ...]
    # (x, name) of those that the chart names, or that were measured.
    sections: tuple[tuple[float, str], ...]
    # (x, bar) of the ruler.
    bars: tuple[tuple[float, int], ...]
    labels: tuple[str, ...]
    placed: tuple[Placed, ...]
    reach_ms: int
    is_waited_for: bool
    width: int = WIDTH
    height: int = HEIGHT
    left: int = LEFT


def feel_page(mixes: Sequence[RoughMix], waiting: Sequence[int], names: Mapping[int, str]) -> FeelPage:
    """Of the newest mixes that were placed; `waiting`: those that are being placed. `names`: of the sections, by the
    bar with which they begin."""
    placed = [(mix, TakePlace.from_json(mix.place)) for mix in mixes if mix.place]
    felt = [(mix, place.feel) for mix, place in placed if place.feel is not None][:MOST_DRAWN]
    reports = [feel for _, feel in felt]
    last = max((section.start_bar + section.bars for feel in reports for section in feel.sections), default=2)
    reach = _reach_ms(reports)
    labels = tuple(label_of(mix) for mix, _ in felt)
    return FeelPage(
        drums=tuple(drum for band, name in DRUMS.items() if (drum := _drum(band, name, reports, labels, last, reach))),
        sections=tuple((_x(bar, last), label) for bar, label in names.items() if felt and bar < last),
        bars=tuple((_x(bar, last), bar) for bar in range(1, last, _bar_step(last))),
        labels=labels,
        placed=tuple(Placed(label_of(mix), place_in_words(place), place.no_feel) for mix, place in placed),
        reach_ms=round(reach),
        is_waited_for=any(mix.pk in waiting for mix in mixes),
    )


def label_of(mix: RoughMix) -> str:
    return f"Rough mix {mix.number}" + (f", take {mix.take.number}" if mix.take else "")


def place_in_words(place: TakePlace) -> str:
    where = f"it begins {_seconds(place.begins_s)}"
    if place.found_by == "sound" and place.begins_frames is not None:
        frames = f" ({abs(place.begins_frames)} samples)" if place.begins_frames else ""
        return f"Lined up by the music in it, to the sample: {where}{frames}."
    how = "its strokes lie nearest to the beats from there" if place.found_by == "map" else "as was said of it"
    return f"It shares no sound with the client’s files; {how}: {where}."


def _seconds(begins_s: float) -> str:
    if not begins_s:
        return "with the client’s files"
    return f"{abs(begins_s):.6f} s {'before' if begins_s < 0 else 'after'} the client’s files"


def _drum(
    band: str, name: str, reports: Sequence[FeelReport], labels: Sequence[str], last: int, reach: float
) -> DrumDrawn | None:
    rows = [
        Row(label, one.attacks, away(one.median_ms), f"±{one.spread_ms:.1f} ms", trend_in_words(one.trend_ms))
        for feel, label in zip(reports, labels, strict=True)
        for one in feel.overall
        if one.band == band
    ]
    takes = tuple((number, _steps(band, feel, last, reach)) for number, feel in enumerate(reports))
    return DrumDrawn(name, takes[::-1], tuple(rows)) if rows else None


def _steps(band: str, feel: FeelReport, last: int, reach: float) -> tuple[Step, ...]:
    return tuple(
        Step(
            x=_x(section.start_bar, last),
            width=round(_x(section.start_bar + section.bars, last) - _x(section.start_bar, last) - 2, 1),
            y=_y(one.median_ms, reach),
            top=_y(one.median_ms - one.spread_ms, reach),
            height=round(_y(one.median_ms + one.spread_ms, reach) - _y(one.median_ms - one.spread_ms, reach), 1),
            words=f"bars {section.start_bar}–{section.start_bar + section.bars - 1}: {away(one.median_ms)}",
        )
        for section in feel.sections
        for one in section.offsets
        if one.band == band
    )


def away(offset_ms: float) -> str:
    if round(abs(offset_ms), 1) == 0.0:
        return "on the beat"
    return f"{abs(offset_ms):.1f} ms {'late' if offset_ms > 0 else 'early'}"


def trend_in_words(trend_ms: float | None) -> str:
    if trend_ms is None:
        return "none that can be told"
    return f"{abs(trend_ms):.1f} ms {'later' if trend_ms > 0 else 'earlier'} at the end"


def _reach_ms(reports: Sequence[FeelReport]) -> float:
    offsets = [one for feel in reports for section in feel.sections for one in section.offsets]
    farthest = max((abs(one.median_ms) + one.spread_ms for one in offsets), default=0.0)
    return max(LEAST_REACH_MS, REACH_STEP_MS * -(-farthest // REACH_STEP_MS))


def _x(bar: int, last: int) -> float:
    return round(LEFT + (WIDTH - LEFT) * (bar - 1) / (last - 1), 1)


def _y(offset_ms: float, reach: float) -> float:
    """Early is above the beat's line, late below."""
    middle = TOP + (HEIGHT - 2 * TOP) / 2
    return round(middle + offset_ms / reach * (HEIGHT - 2 * TOP) / 2, 1)


def _bar_step(last: int) -> int:
    """Every bar, every fourth, every eighth, ...: no more lines than can be read."""
    step = 1
    while (last - 1) / step > MOST_BAR_LINES:
        step = 4 if step == 1 else 2 * step
    return step
