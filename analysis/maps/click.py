"""A click planned from the tempo map: every onset on the frame that exact arithmetic gives.

In a free passage of the map the click is silent. One bar before it ends, what follows is counted in, in its own tempo
and meter, when the passage is at least that long. A song that begins free has no count-in before it. Counting in is
done in beats, whatever is chosen for the song.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from fractions import Fraction
from itertools import chain

from analysis.maps.click_style import ClickStyle
from analysis.maps.tempo_map import FreeStretch, Segment, TempoMap, round_half_up


@dataclass(frozen=True)
class Click:
    """One click at its exact time: its bar (0 and below are the count-in; a bar that is counted in while the passage
    before it is free has the number before its own), its beat from 0, and which part of it, from 0."""

    time_s: Fraction
    bar: int
    beat: int
    part: int = 0


@dataclass(frozen=True)
class ClickOnset:
    """One click on its frame; bar, beat and part as in `Click`."""

    frame: int
    bar: int
    beat: int
    part: int = 0

    @property
    def is_accent(self) -> bool:
        return self.beat == 0 and self.part == 0


@dataclass(frozen=True)
class ClickPlan:
    """Where every click sits. `lead_s` is how much earlier than the song's files this click starts; `count_in_bars`
    are those before the first bar."""

    onsets: tuple[ClickOnset, ...]
    frames: int
    bar_one_frame: int
    lead_s: Fraction
    sample_rate_hz: int
    count_in_bars: int = 0


def plan_click(
    tempo_map: TempoMap,
    *,
    bars: int,
    count_in_bars: int = 2,
    sample_rate_hz: int = 48_000,
    with_files: bool = False,
    style: ClickStyle | None = None,
) -> ClickPlan:
    """Place `count_in_bars` and `bars` of clicks.

    The count-in has the meter and tempo of the bar it leads to. A pickup shorter than a bar lies in its last bar; where
    the map has whole bars before bar one, they are clicked as they are, and the count-in leads to the first of them.
    The click starts with the song's files; when the count-in does not fit before bar one, it starts `lead_s` earlier,
    or, `with_files`, does without the clicks that do not fit.
    """
    first_bar = _first_bar(tempo_map, count_in_bars)
    first = tempo_map.segment_at_bar(first_bar)
    count_in_bars = 0 if first.free else count_in_bars
    start_s = tempo_map.time_of_bar(first_bar) - count_in_bars * first.bar_s
    lead_s = Fraction(0) if with_files else max(Fraction(0), -start_s)
    end_s = tempo_map.time_of_bar(bars + 1) + lead_s
    clicks = chain(
        _count_in(first, first_bar, start_s, count_in_bars), clicks_between(tempo_map, first_bar, bars, style)
    )
    onsets = onsets_after(-lead_s, clicks, sample_rate_hz)
    bar_one_frame = round_half_up((tempo_map.bar_one_s + lead_s) * sample_rate_hz)
    frames = round_half_up(end_s * sample_rate_hz)
    return ClickPlan(onsets, frames, bar_one_frame, lead_s, sample_rate_hz, count_in_bars)


def _first_bar(tempo_map: TempoMap, count_in_bars: int) -> int:
    first_bar = min(1, tempo_map.segments[0].bar)
    is_short = tempo_map.bar_one_s - tempo_map.time_of_bar(first_bar) < tempo_map.segment_at_bar(1).bar_s
    return 1 if is_short and count_in_bars else first_bar


def _count_in(first: Segment, first_bar: int, start_s: Fraction, bars: int) -> Iterator[Click]:
    for beat in range(bars * first.meter.beats_per_bar):
        bar, in_bar = divmod(beat, first.meter.beats_per_bar)
        yield Click(start_s + beat * first.beat_s, first_bar - bars + bar, in_bar)


def onsets_after(start_s: Fraction, clicks: Iterable[Click], sample_rate_hz: int) -> tuple[ClickOnset, ...]:
    """The clicks from `start_s` on, in frames from there."""
    return tuple(
        ClickOnset(round_half_up((click.time_s - start_s) * sample_rate_hz), click.bar, click.beat, click.part)
        for click in clicks
        if click.time_s >= start_s
    )


def clicks_between(
    tempo_map: TempoMap, first_bar: int, last_bar: int, style: ClickStyle | None = None
) -> Iterator[Click]:
    """Every click of these bars in order of time: wherever a click sounds, this is where it is laid."""
    style = style or ClickStyle()
    entries = {stretch.end_bar: stretch for stretch in tempo_map.free_stretches}
    for bar in range(first_bar, last_bar + 1):
        segment = tempo_map.segment_at_bar(bar)
        if segment.free:
            continue
        if bar in entries and bar > first_bar:
            yield from _counted_in(segment, entries[bar])
        if style.sounds_in(bar):
            yield from _clicks_of_bar(tempo_map, bar, style.parts_of_beat(segment.meter))


def _clicks_of_bar(tempo_map: TempoMap, bar: int, parts: int) -> Iterator[Click]:
    for beat in range(tempo_map.segment_at_bar(bar).meter.beats_per_bar):
        for part in range(parts):
            yield Click(tempo_map.time_of_bar(bar, beat + Fraction(part, parts)), bar, beat, part)


def _counted_in(entry: Segment, free: FreeStretch) -> Iterator[Click]:
    """One bar of the entry's own beats before it, where the free passage has room for them."""
    if entry.time_s - free.time_s >= entry.bar_s:
        for beat in range(entry.meter.beats_per_bar):
            yield Click(entry.time_s - entry.bar_s + beat * entry.beat_s, entry.bar - 1, beat)
