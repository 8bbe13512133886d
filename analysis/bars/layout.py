"""Lay the chosen reading out over the song: its beats, downbeats, count-in, pickup and bar one, in the files' time."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np

from analysis.core.samples import Doubles
from analysis.tempo.evidence import Evidence

# House choices. Of a beat: this near a downbeat, the first sound is on it. Of a bar: what comes longer before bar one
# is no pickup, but a bar that begins with a rest; the last onset so soon after a bar line is on it, and needs no bar.
# Onsets weaker than this share of the strong ones are noise before the
# music.
ON_BEAT = 0.2
LONGEST_PICKUP = 0.6
_PAST_LINE = 0.02
_WEAK_SHARE = 0.08


@dataclass(frozen=True)
class Layout:
    """Beats from the count-in or pickup to the bar line that ends the song, in seconds on the evidence's clock.

    Attributes
    ----------
    beats_s : float64 array, shape (n_beats,)
    downbeats_s : float64 array, shape (n_bars + 1,)
        From bar one to the end of the last bar.
    bar_one_s, pickup_beats : float
    count_in_beats : int
    bar_beats : tuple of int
        How many beats each bar has, from bar one on, when they are not all alike.
    """

    beats_s: Doubles
    downbeats_s: Doubles
    bar_one_s: float
    pickup_beats: float
    count_in_beats: int
    bar_beats: tuple[int, ...] = ()

    def on(self, clock: Callable[[Doubles], Doubles]) -> Layout:
        """The same layout with its times read on another clock.

        Parameters
        ----------
        clock : callable
            Takes and returns float64 arrays of seconds of one shape, such as `Clock.to_real`.
        """
        bar_one_s = float(clock(np.array([self.bar_one_s]))[0])
        beats_s, downbeats_s = clock(self.beats_s), clock(self.downbeats_s)
        return replace(self, beats_s=beats_s, downbeats_s=downbeats_s, bar_one_s=bar_one_s)


def lay_out(evidence: Evidence, *, period_s: float, downbeat_s: float, beats_per_bar: int) -> Layout:
    """Bars of one length over the whole song, and what comes before bar one.

    Parameters
    ----------
    evidence : Evidence
    period_s, downbeat_s : float
        Beat period, and the time of some downbeat, in seconds.
    beats_per_bar : int
    """
    first_s, last_s = music_span(evidence)
    bar_s = beats_per_bar * period_s
    count_in = _count_in_beats(evidence, first_s, period_s=period_s, beats_per_bar=beats_per_bar)
    start_s = first_s + count_in * period_s
    bar = np.ceil((start_s - downbeat_s) / bar_s - ON_BEAT / beats_per_bar)
    bar_one_s = float(downbeat_s + bar * bar_s)
    pickup = (bar_one_s - start_s) / period_s
    if pickup > LONGEST_PICKUP * beats_per_bar:
        bar_one_s, pickup = bar_one_s - bar_s, 0.0  # bar one begins with a rest
    pickup = 0.0 if pickup < ON_BEAT or count_in else round(2 * pickup) / 2
    before = count_in + int(np.ceil(pickup))
    bars = max(1, _bars_over((last_s - bar_one_s) / bar_s))
    beats = bar_one_s + np.arange(-before, bars * beats_per_bar + 1, dtype=np.float64) * period_s
    downbeats = bar_one_s + np.arange(bars + 1, dtype=np.float64) * bar_s
    return Layout(beats, downbeats, bar_one_s, pickup, count_in)


def with_odd_bars(
    layout: Layout, odd: Sequence[tuple[float, int]], *, last_s: float, period_s: float, beats_per_bar: int
) -> Layout:
    """The layout with single bars of another length, counted to the last onset.

    Parameters
    ----------
    layout : Layout
        Its last bar line is that of even bars, which is not a bar line here.
    odd : sequence of (float, int)
        When the bar after it begins, in seconds, and its beats, for each.
    last_s : float
        The song's last onset, seconds.
    period_s : float
    beats_per_bar : int
    """
    lines = [0]
    for end_s, beats in odd:
        end = round((end_s - layout.bar_one_s) / period_s)
        lines += range(lines[-1] + beats_per_bar, end - beats + 1, beats_per_bar)
        # Nobody writes a bar of one beat: the bar before it is longer by that beat.
        lines[-1:] = [end] if beats == 1 and len(lines) > 1 else [lines[-1], end]
    left = (last_s - layout.bar_one_s) / period_s - lines[-1]
    last = lines[-1] + _bars_over(left / beats_per_bar) * beats_per_bar
    lines += range(lines[-1] + beats_per_bar, last + 1, beats_per_bar)
    before = round((layout.bar_one_s - layout.beats_s[0]) / period_s)
    beats_s = layout.bar_one_s + np.arange(-before, last + 1) * period_s
    lengths = tuple(two - one for one, two in pairwise(lines))
    return replace(
        layout, beats_s=beats_s, downbeats_s=layout.bar_one_s + np.array(lines) * period_s, bar_beats=lengths
    )


def _bars_over(bars: float) -> int:
    """Whole bars that cover so many; what comes a hair after a bar line begins no bar of its own."""
    return max(0, int(np.ceil(bars - _PAST_LINE)))


def music_span(evidence: Evidence) -> tuple[float, float]:
    """First and last onset that is no mere noise, in seconds."""
    strong = evidence.onset_weight > _WEAK_SHARE * np.quantile(evidence.onset_weight, 0.9)
    times = evidence.onset_s[strong]
    return float(times[0]), float(times[-1])


def _count_in_beats(evidence: Evidence, first_s: float, *, period_s: float, beats_per_bar: int) -> int:
    """Beats of lone, even sounds before the band comes in: one or two bars, else 0."""
    for bars in (2, 1):
        beats = bars * beats_per_bar
        if _is_count_in(evidence, first_s, beats, period_s):
            return beats
    return 0


def _is_count_in(evidence: Evidence, first_s: float, beats: int, period_s: float) -> bool:
    """One sound on every beat, nothing between, and next to no sustained sound until the band enters."""
    enters_s = first_s + beats * period_s
    inside = (evidence.onset_s > first_s - 0.3 * period_s) & (evidence.onset_s < enters_s - 0.3 * period_s)
    strong = inside & (evidence.onset_weight > _WEAK_SHARE * np.quantile(evidence.onset_weight, 0.9))
    place = (evidence.onset_s[strong] - first_s) / period_s
    on_beat = np.abs(place - np.rint(place)) < 0.12
    if len(place) == 0 or on_beat.mean() < 0.85 or len(np.unique(np.rint(place[on_beat]))) < beats:
        return False
    sustained = _sustained_level(evidence)
    before = sustained[(evidence.frame_s > first_s) & (evidence.frame_s < enters_s - 0.15 * period_s)]
    after = sustained[(evidence.frame_s > enters_s + 0.1) & (evidence.frame_s < enters_s + 8 * period_s)]
    if not len(before) or not len(after):
        return False
    return bool(np.median(after) - np.median(before) > 14.0)


def _sustained_level(evidence: Evidence) -> Doubles:
    """Level in dB of the loudest band at each frame: between the strokes of a count-in it falls away."""
    level: Doubles = evidence.energy_db.max(axis=1)
    return level
