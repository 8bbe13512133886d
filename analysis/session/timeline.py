"""A session's own time: where bar one lies in it, how far the song's files move, and how long they all become.

The session begins with its bar 1. The song's bar one is the session's bar `start_bar`, and later only where something
has to lie before it: a count-in, whole bars of pickup, or sound in the files. Nothing that sounds is cut off.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from functools import cached_property
from pathlib import Path
from typing import Any

import numpy as np

from analysis.core.errors import MapError
from analysis.core.reports import Record
from analysis.core.units import amplitude_from_db
from analysis.maps.click import ClickPlan, plan_click
from analysis.maps.tempo_map import Segment, TempoMap, round_half_up
from analysis.media.reader import open_media
from analysis.session.settings import SessionSettings

# What is cut off at the start must be quieter than this (house choice: under any room noise).
CUT_BELOW_DBFS = -80.0
_MOST_BARS_BEFORE = 999  # house choice
_SECONDS_PER_HOUR = 3600


@dataclass(frozen=True)
class Timeline(Record):
    """Where everything of one song lies in its session; `map` is the map's JSON, in the time of the song's files."""

    settings: SessionSettings
    map: dict[str, Any]
    start_bar: int
    frames: int

    @cached_property
    def tempo_map(self) -> TempoMap:
        return TempoMap.from_json(self.map)

    @property
    def sample_rate_hz(self) -> int:
        return self.settings.sample_rate_hz

    @property
    def bar_one_frame(self) -> int:
        return round_half_up(_lead_s(self.tempo_map, self.start_bar) * self.sample_rate_hz)

    @property
    def shift_s(self) -> Fraction:
        """How much later than in the song's files everything lies in the session; negative where silence is cut."""
        return _lead_s(self.tempo_map, self.start_bar) - self.tempo_map.bar_one_s

    @property
    def shift_frames(self) -> int:
        return round_half_up(self.shift_s * self.sample_rate_hz)

    @property
    def time_reference_frames(self) -> int:
        """Samples since midnight of the session's first sample (EBU Tech 3285)."""
        return self.settings.clock_start_h * _SECONDS_PER_HOUR * self.sample_rate_hz

    @property
    def bars(self) -> int:
        """The session's last bar that has begun when the files end."""
        return self.session_map.bar_beat_at(Fraction(max(0, self.frames - 1), self.sample_rate_hz)).bar

    @cached_property
    def session_map(self) -> TempoMap:
        """The map in the session's time and bar numbers: bar 1 at 0 s."""
        whole = _without_short_pickup(self.tempo_map)
        first_bar = 2 - self.start_bar
        begins = replace(whole.segment_at_bar(first_bar), bar=1, time_s=Fraction(0))
        later = [segment for segment in whole.segments if segment.bar > first_bar]
        return TempoMap((begins, *(self._moved(segment, bars=self.start_bar - 1) for segment in later)))

    def _moved(self, segment: Segment, *, bars: int = 0) -> Segment:
        return replace(segment, bar=segment.bar + bars, time_s=segment.time_s + self.shift_s)

    def click_plan(self) -> ClickPlan:
        """The click from the session's first frame to its last."""
        moved = TempoMap(tuple(self._moved(segment) for segment in self.tempo_map.segments))
        plan = plan_click(
            moved,
            bars=max(1, self.bars - self.start_bar + 1),
            count_in_bars=self.settings.count_in_bars,
            sample_rate_hz=self.sample_rate_hz,
            with_files=True,
            style=self.settings.click,
        )
        return replace(
            plan, frames=self.frames, onsets=tuple(onset for onset in plan.onsets if onset.frame < self.frames)
        )


def plan_session(
    paths: Sequence[Path],
    tempo_map: TempoMap,
    settings: SessionSettings,
    *,
    lengths_s: Sequence[Fraction | None] | None = None,
) -> Timeline:
    """Find the start bar and the common length. `lengths_s` of files that were measured saves decoding them.

    Raises MapError when the song cannot begin where the settings say.
    """
    if settings.start_bar < 1:
        raise MapError(f"the start bar must be 1 or more, not {settings.start_bar}")
    lengths = [known or _length_s(path) for path, known in zip(paths, lengths_s or [None] * len(paths), strict=True)]
    start_bar = max(settings.start_bar, _bars_before(tempo_map, settings.count_in_bars) + 1)
    cut_s = max(Fraction(0), tempo_map.bar_one_s - _lead_s(tempo_map, start_bar))
    if cut_s:
        cut_s = min([cut_s, *(_quiet_s(path, cut_s) for path in paths)])
    while _lead_s(tempo_map, start_bar) + cut_s < tempo_map.bar_one_s:
        start_bar += 1
        if start_bar > _MOST_BARS_BEFORE:
            raise MapError("bar one lies too far into the files")
    timeline = Timeline(settings, tempo_map.to_json(), start_bar, 0)
    ends = [round_half_up(length * settings.sample_rate_hz) + timeline.shift_frames for length in lengths]
    return replace(timeline, frames=max([timeline.bar_one_frame + 1, *ends]))


def _without_short_pickup(tempo_map: TempoMap) -> TempoMap:
    """A pickup shorter than a bar lies in the last bar before bar one, which has the meter of bar one."""
    first = min(1, tempo_map.segments[0].bar)
    is_short = tempo_map.bar_one_s - tempo_map.time_of_bar(first) < tempo_map.segment_at_bar(1).bar_s
    if first == 1 or not is_short:
        return tempo_map
    one = replace(tempo_map.segment_at_bar(1), bar=1, time_s=tempo_map.bar_one_s)
    return TempoMap((one, *(segment for segment in tempo_map.segments if segment.bar > 1)))


def _lead_s(tempo_map: TempoMap, start_bar: int) -> Fraction:
    """From the session's start to the song's bar one."""
    whole = _without_short_pickup(tempo_map)
    return whole.bar_one_s - whole.time_of_bar(2 - start_bar)


def _bars_before(tempo_map: TempoMap, count_in_bars: int) -> int:
    """Bars that count-in and whole bars of pickup need before bar one. A song that begins free is not counted in."""
    whole = _without_short_pickup(tempo_map)
    pickup_bars = 1 - min(1, whole.segments[0].bar)
    return pickup_bars + (0 if whole.segments[0].free else count_in_bars)


def _length_s(path: Path) -> Fraction:
    """Counted by decoding where the header does not say."""
    with open_media(path) as media:
        frames = media.facts.declared_frames
        if frames is None or media.facts.lossy:
            frames = sum(len(block) for block in media.blocks())
        return Fraction(frames, media.facts.sample_rate_hz)


def _quiet_s(path: Path, until_s: Fraction) -> Fraction:
    """How long the file is silent from its start, looked at up to `until_s`."""
    with open_media(path) as media:
        until = round_half_up(until_s * media.facts.sample_rate_hz)
        at = 0
        for block in media.blocks():
            loud = np.flatnonzero(np.abs(block[: until - at]).max(axis=1, initial=0.0) > _CUT_BELOW)
            if len(loud):
                return Fraction(at + int(loud[0]), media.facts.sample_rate_hz)
            at += len(block)
            if at >= until:
                break
        return until_s


_CUT_BELOW = amplitude_from_db(CUT_BELOW_DBFS)
