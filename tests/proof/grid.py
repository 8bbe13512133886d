"""Where bars and clicks of a session must lie, worked out from `session.json` by fractions alone."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from fractions import Fraction
from typing import Any

# Times in the file are decimals: what is this close to where the tempo leads is meant to be there.
SAME_S = Fraction(1, 100_000)
PER_QUARTER = {"quarter": 1, "eighth": 2, "triplet": 3, "sixteenth": 4}


@dataclass(frozen=True)
class Stretch:
    """From `bar` (of the song) at `time_s` (of the song's files) on."""

    bar: int
    time_s: Fraction
    bpm: Fraction
    upper: int
    lower: int
    free: bool

    @property
    def is_compound(self) -> bool:
        return self.lower >= 8 and self.upper > 3 and self.upper % 3 == 0

    @property
    def beats(self) -> int:
        return self.upper // 3 if self.is_compound else self.upper

    @property
    def bar_s(self) -> Fraction:
        return 60 * self.beats / self.bpm

    @property
    def quarters(self) -> Fraction:
        return Fraction(4 * self.upper, self.lower)

    def parts(self, subdivision: str) -> int:
        if subdivision == "beat":
            return 1
        if self.is_compound and subdivision == "triplet":
            return 3
        parts = self.quarters / self.beats * PER_QUARTER[subdivision]
        return parts.numerator if parts.denominator == 1 else 1


def nearest(value: Fraction) -> int:
    return (2 * value.numerator + value.denominator) // (2 * value.denominator)


def read_stretches(segments: list[dict[str, Any]]) -> list[Stretch]:
    found: list[Stretch] = []
    for item in segments:
        upper, lower = (int(part) for part in item["meter"].split("/"))
        bpm = Fraction(str(item.get("bpm_exact") or item["bpm"]))
        one = Stretch(item["bar"], Fraction(str(item["time_s"])), bpm, upper, lower, bool(item.get("free")))
        if found:
            last = found[-1]
            leads_to = last.time_s + (one.bar - last.bar) * last.bar_s
            if abs(leads_to - one.time_s) <= SAME_S:
                one = replace(one, time_s=leads_to)
        found.append(one)
    return found


class Grid:
    """The session's bars: bar 1 begins at 0 s, the song's bar one is the session's bar `start_bar`."""

    def __init__(self, session: dict[str, Any]) -> None:
        stretches = read_stretches(session["map"]["segments"])
        one = [item for item in stretches if item.bar <= 1][-1]
        self.bar_one_s = one.time_s + (1 - one.bar) * one.bar_s
        early = stretches[0].time_s + (min(1, stretches[0].bar) - stretches[0].bar) * stretches[0].bar_s
        if self.bar_one_s - early < one.bar_s:  # a pickup shorter than a bar is no bar
            stretches = [replace(one, bar=1, time_s=self.bar_one_s), *(item for item in stretches if item.bar > 1)]
        self.stretches = stretches
        self.start_bar = int(session["start_bar"])
        self.settings = session["settings"]
        self.rate_hz = int(self.settings["sample_rate_hz"])
        self.frames = int(session["frames"])
        self.shift_s = -self._in_files(2 - self.start_bar)

    def stretch(self, song_bar: int) -> Stretch:
        return ([self.stretches[0]] + [item for item in self.stretches if item.bar <= song_bar])[-1]

    def _in_files(self, song_bar: int) -> Fraction:
        stretch = self.stretch(song_bar)
        return stretch.time_s + (song_bar - stretch.bar) * stretch.bar_s

    def time_s(self, song_bar: int) -> Fraction:
        return self._in_files(song_bar) + self.shift_s

    def frame(self, song_bar: int) -> int:
        return nearest(self.time_s(song_bar) * self.rate_hz)

    @property
    def song_bars(self) -> list[int]:
        """All that begin before the files end."""
        bars, bar = [], 2 - self.start_bar
        while self.time_s(bar) * self.rate_hz <= self.frames - 1:
            bars.append(bar)
            bar += 1
        return bars

    def clicks(self) -> list[tuple[int, str]]:
        """Frame and kind ("bar", "beat", "part") of every click that must sound."""
        at = [(nearest(time_s * self.rate_hz), kind) for time_s, kind in self._clicks_s()]
        return [(frame, kind) for frame, kind in at if 0 <= frame < self.frames]

    def _clicks_s(self) -> Iterator[tuple[Fraction, str]]:
        first = min(1, self.stretches[0].bar)
        for bar in self._count_in(first):
            yield from self._bar(bar, 1)
        for bar in range(first, self.song_bars[-1] + 1):
            stretch = self.stretch(bar)
            if stretch.free:
                continue
            if bar > first and self.stretch(bar - 1).free:
                yield from self._counted_in(bar)
            if bar < 1 or (bar - 1) % (self.click["bars_on"] + self.click["bars_off"]) < self.click["bars_on"]:
                yield from self._bar(bar, stretch.parts(self.click["subdivision"]))

    @property
    def click(self) -> dict[str, Any]:
        click: dict[str, Any] = self.settings["click"]
        return click

    def _count_in(self, first: int) -> range:
        bars = 0 if self.stretch(first).free else int(self.settings["count_in_bars"])
        return range(first - bars, first)

    def _bar(self, bar: int, parts: int) -> Iterator[tuple[Fraction, str]]:
        stretch, count = self.stretch(bar), self.stretch(bar).beats * parts
        for number in range(count):
            kind = "bar" if number == 0 else "part" if number % parts else "beat"
            yield self.time_s(bar) + stretch.bar_s * Fraction(number, count), kind

    def _counted_in(self, bar: int) -> Iterator[tuple[Fraction, str]]:
        """One bar of what follows, before it, where the free passage has room for one."""
        stretch = self.stretch(bar)
        began = bar
        while began > self.stretches[0].bar and self.stretch(began - 1).free:
            began -= 1
        if self.time_s(bar) - self.time_s(began) >= stretch.bar_s:
            for beat in range(stretch.beats):
                at = self.time_s(bar) - stretch.bar_s + stretch.bar_s * Fraction(beat, stretch.beats)
                yield at, "beat" if beat else "bar"
