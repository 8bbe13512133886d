"""Where the song's last bar is: a last chord that rings on has one bar, and an ending that slows down has longer bars.

Measuring lays even bars up to the last sound that stands out, so a ritardando gets some bars too many, a held chord
often one, and a fade too few. Here the last attack of the band is found; then slower and slower beats are tried
between a steady one and that attack, which is taken for a bar line; and where a song fades, bars go on to its end.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np
from scipy.ndimage import median_filter

from analysis.core.samples import Doubles, Flags, Indices
from analysis.form.bar_clock import BarClock
from analysis.tempo.evidence import Evidence

# House choices. An attack of the band is as strong as this share of the usual one at the bar lines of the song's end;
# it may lie so far before a beat, and counts as near one within this spread.
_TAIL_BARS = 12
_ATTACK_SHARE, _WEAK_SHARE = 0.4, 0.3
_EARLY_BEATS = 0.13
_NEAR_S = 0.035
# Frames of 10 ms around an attack in which its sound is compared, and the shares that must be left (house choices).
_BEFORE, _SOON, _LATER = (-10, -2), (2, 10), (9, 14)
_SOON_SHARE, _LATER_SHARE = 0.2, 0.02
# A peak stands out of the frames around it by this factor (house choice).
_AROUND_FRAMES, _OVER_FLUTTER = 25, 2.2
# Slowing: it begins so many beats before the last attack, loses so many bars at most, and slows the last beat to
# this share of the tempo. It is believed when the beats fit by so much better.
_MOST_BEATS_SLOWED, _LEAST_BEATS_SLOWED = 20, 2
_MOST_BARS_GAINED = 4
_SLOWEST = 0.35
_LEAST_GAIN, _BEATS_WEIGHT, _LEAST_ATTACKS = 0.15, 0.5, 4
# A fade falls by this much over its bars, steadily, and its bars count down to this level re the loud ones; its notes
# still begin: a bar's strongest onset is at least this share of that before.
_FADE_BARS, _FADE_LEAST_BARS, _FADE_DB, _FADE_FLOOR_DB, _FADE_STEADY = 4, 1.8, 8.0, -52.0, 0.65
_STRIKE_SHARE, _SOFT_STRIKE, _FADE_WAVERS_DB = 0.24, 0.75, 2.0


@dataclass(frozen=True)
class _Attacks:
    """Moments at which somebody strikes, and how strongly, re the band's usual strike at a bar line."""

    times_s: Doubles
    strength: Doubles


def with_true_end(music: Evidence, clock: BarClock, *, may_slow: bool = True) -> BarClock:
    """The clock with its last bars as they are played; steady bars before them are not touched.

    Where somebody said how long the last bars are, they `may_slow` no more: only their number is found.
    """
    if clock.bars < 2:
        return clock
    attacks = _attacks(music, clock)
    if attacks is None:
        return clock
    struck = attacks.times_s[attacks.strength > _ATTACK_SHARE]
    last_s = float((struck if len(struck) else attacks.times_s)[-1])
    if (faded := _faded(music, clock, last_s)) is not None:
        return faded
    slowed = _slowed(attacks, clock, last_s) if may_slow else None
    return slowed if slowed is not None else _cut_after(clock, last_s)


def _attacks(music: Evidence, clock: BarClock) -> _Attacks | None:
    """Peaks of the summed onset strength that are no mere ringing."""
    total = music.strength.sum(axis=1)
    inner = (total[1:-1] >= total[:-2]) & (total[1:-1] > total[2:])
    peaks = np.flatnonzero(inner) + 1
    times = music.frame_s[peaks]
    lines = clock.downbeats_s[max(0, clock.bars - _TAIL_BARS) : clock.bars]
    near = [total[np.abs(music.frame_s - line) < 2 * _NEAR_S] for line in lines]
    usual = float(np.median([found.max() for found in near if len(found)] or [0.0]))
    strong = (total[peaks] > _WEAK_SHARE * usual) & (times > clock.downbeats_s[0] - _NEAR_S)
    strong &= _sounds_on(music, peaks) & _stands_out(total, peaks)
    if usual <= 0 or not strong.any():
        return None
    return _Attacks(times[strong], total[peaks][strong] / usual)


def _stands_out(total: Doubles, peaks: Indices) -> Flags:
    """Whether a peak is well above what is around it: the flutter of sounds that ring is everywhere."""
    around = median_filter(total, 2 * _AROUND_FRAMES + 1, mode="nearest")
    return np.asarray(total[peaks] > _OVER_FLUTTER * around[peaks], np.bool_)


def _sounds_on(music: Evidence, peaks: Indices) -> Flags:
    """Whether sound follows a peak, soon and a little later: where a sound is cut off it does not."""
    sums = np.concatenate([[0.0], np.cumsum((10 ** (music.energy_db / 10)).sum(axis=1))])

    def mean(low: int, high: int) -> Doubles:
        held = np.clip([peaks + low, peaks + high], 0, len(sums) - 1)
        power: Doubles = (sums[held[1]] - sums[held[0]]) / (high - low)
        return power

    before, soon, later = mean(*_BEFORE), mean(*_SOON), mean(*_LATER)
    return np.asarray((soon > _SOON_SHARE * before) & (later > _LATER_SHARE * before), np.bool_)


def _cut_after(clock: BarClock, last_s: float) -> BarClock:
    """No bar after the one with the last attack; a clock that ends before it goes on."""
    bar_s = float(clock.downbeats_s[-1] - clock.downbeats_s[-2])
    beat_s = bar_s / clock.signs[-1].beats_per_bar
    wanted = int(np.searchsorted(clock.downbeats_s, last_s + _EARLY_BEATS * beat_s, side="right"))
    if wanted <= clock.bars:
        return clock.first_bars(max(1, wanted))
    return _longer(clock, int(np.ceil((last_s + _EARLY_BEATS * beat_s - clock.downbeats_s[-1]) / bar_s)))


def _longer(clock: BarClock, bars: int) -> BarClock:
    bar_s = float(clock.downbeats_s[-1] - clock.downbeats_s[-2])
    more = clock.downbeats_s[-1] + bar_s * np.arange(1, bars + 1)
    return replace(
        clock,
        downbeats_s=np.concatenate([clock.downbeats_s, more]),
        signs=clock.signs + clock.signs[-1:] * bars,
        free=np.concatenate([clock.free, np.repeat(clock.free[-1:], bars)]),
    )


def _faded(music: Evidence, clock: BarClock, last_s: float) -> BarClock | None:
    """Bars up to where the fade is no longer heard; None for a song that does not fade."""
    bar_s = float(np.median(np.diff(clock.downbeats_s)[-_TAIL_BARS:]))
    left_s = float(music.frame_s[-1]) - clock.downbeats_s[-1]
    longer = _longer(clock, max(0, int(np.ceil(left_s / bar_s - 0.2))))
    level, strike = _bar_levels(music, longer.downbeats_s)
    loud = float(np.percentile(level, 90))
    heard = int(np.flatnonzero(level > loud + _FADE_FLOOR_DB)[-1]) + 1
    first = heard - _FADE_BARS
    if first < 0 or longer.downbeats_s[heard] - last_s < _FADE_LEAST_BARS * bar_s:
        return None
    steps = -np.diff(level[first:heard])
    falls = float(steps.sum()) > _FADE_DB and float(steps.min()) > -_FADE_WAVERS_DB
    # The last bar but one is soft already: else a last chord rings there.
    falls = falls and float(level[heard - 2]) < loud - _FADE_DB
    falls = falls and float(strike[heard - 2]) < _SOFT_STRIKE * float(np.median(strike[max(0, heard - _TAIL_BARS) :]))
    even = float(steps.max()) < _FADE_STEADY * float(steps.sum())
    shares = strike[first:heard] / np.maximum(strike[max(0, first - 1) : heard - 1], 1e-9) if first else np.zeros(1)
    played = bool((shares[:-1] > _STRIKE_SHARE).all())
    return longer.first_bars(heard) if falls and even and played else None


def _bar_levels(music: Evidence, lines_s: Doubles) -> tuple[Doubles, Doubles]:
    """Of each bar, its level in dB and how strong its strongest onset is."""
    power = (10 ** (music.energy_db / 10)).sum(axis=1)
    rise = music.strength.sum(axis=1)
    edges = np.clip(np.searchsorted(music.frame_s, lines_s), 0, len(power) - 1)
    bars = [(low, max(high, low + 1)) for low, high in zip(edges[:-1].tolist(), edges[1:].tolist(), strict=True)]
    level = np.array([10 * np.log10(power[low:high].mean() + 1e-12) for low, high in bars])
    return level, np.array([rise[low:high].max() for low, high in bars])


def _slowed(attacks: _Attacks, clock: BarClock, last_s: float) -> BarClock | None:
    """The clock with an ending that slows down, where that fits the attacks clearly better."""
    steady = max(0, clock.bars - _TAIL_BARS)
    sign = clock.signs[-1]
    bar_s = float(np.median(np.diff(clock.downbeats_s)[steady:]))
    beat_s = bar_s / sign.beats_per_bar
    best: tuple[float, BarClock] | None = None
    for bars_before, beats in _starts(clock, last_s, sign.beats_per_bar, beat_s):
        found = _with_slowing(clock, bars_before, beats, last_s, beat_s)
        if found is None:
            continue
        lines, beat_times = found
        slow, even = _fit(attacks, beat_times), _fit(attacks, _beats_between(clock, beat_times[0], last_s, beat_s))
        gain = slow.kept - even.kept + _BEATS_WEIGHT * (slow.struck - even.struck)
        if slow.kept - even.kept > _LEAST_GAIN and (best is None or gain > best[0]):
            best = gain, lines
    return best[1] if best else None


def _starts(clock: BarClock, last_s: float, per_bar: int, beat_s: float) -> Iterator[tuple[int, tuple[int, int]]]:
    """Bars before the slowing's first bar, how many of its beats are still steady, and beats up to the last attack."""
    for bars_before in range(max(0, clock.bars - _TAIL_BARS), clock.bars):
        for steady in range(per_bar):
            passed = (last_s - float(clock.downbeats_s[bars_before])) / beat_s - steady
            if not _LEAST_BEATS_SLOWED < passed < _MOST_BEATS_SLOWED / _SLOWEST:
                continue
            for bars in range(1, 1 + int(passed + steady) // per_bar):
                beats = bars * per_bar - steady
                if _LEAST_BEATS_SLOWED <= beats <= _MOST_BEATS_SLOWED and 0.6 < passed - beats < (
                    _MOST_BARS_GAINED * per_bar
                ):
                    yield bars_before, (steady, beats)


def _with_slowing(
    clock: BarClock, bars_before: int, counted: tuple[int, int], last_s: float, beat_s: float
) -> tuple[BarClock, Doubles] | None:
    """The clock and the slowed beats' times, when each beat is longer than the one before by the same amount."""
    steady, beats = counted
    start_s = float(clock.downbeats_s[bars_before]) + steady * beat_s
    more = 2 * ((last_s - start_s) / beat_s - beats) / (beats * (beats + 1))
    if 1 + more * beats > 1 / _SLOWEST:
        return None
    lengths = beat_s * (1 + more * np.arange(1, beats + 1))
    times = start_s + np.concatenate([[0.0], np.cumsum(lengths)])
    per_bar = clock.signs[-1].beats_per_bar
    lines = times[per_bar - steady :: per_bar] if steady else times[per_bar::per_bar]
    end_s = last_s + per_bar * float(lengths[-1])
    downbeats = np.concatenate([clock.downbeats_s[: bars_before + 1], lines, [end_s]])
    bars = len(downbeats) - 1
    signs = (clock.signs + clock.signs[-1:] * bars)[:bars]
    free = np.concatenate([clock.free, np.repeat(clock.free[-1:], bars)])[:bars]
    return BarClock(downbeats, signs, free), times


def _beats_between(clock: BarClock, start_s: float, end_s: float, beat_s: float) -> Doubles:
    """The clock's own beats in that time."""
    per_bar = clock.signs[-1].beats_per_bar
    bars = np.arange(len(clock.downbeats_s))
    beats = np.interp(np.arange(0, clock.bars + 1e-9, 1 / per_bar), bars, clock.downbeats_s)
    found: Doubles = beats[(beats > start_s - beat_s / 2) & (beats < end_s + beat_s / 2)]
    return found


@dataclass(frozen=True)
class _Fit:
    """Shares: of beats that have an attack, and of attacks that lie on a beat or its half."""

    struck: float = 0.0
    kept: float = 0.0


def _fit(attacks: _Attacks, beats_s: Doubles) -> _Fit:
    if len(beats_s) < 2:
        return _Fit()
    inside = (attacks.times_s > beats_s[0] - _NEAR_S) & (attacks.times_s < beats_s[-1] + _NEAR_S)
    times, weight = attacks.times_s[inside], np.minimum(attacks.strength[inside], 1.0)
    if len(times) < _LEAST_ATTACKS:
        return _Fit()
    halves = np.sort(np.concatenate([beats_s, (beats_s[1:] + beats_s[:-1]) / 2]))
    kept = float((_nearness(times, halves) * weight).sum() / weight.sum())
    return _Fit(float(_nearness(beats_s, times).mean()), kept)


def _nearness(times_s: Doubles, others_s: Doubles) -> Doubles:
    apart = np.abs(times_s[:, None] - others_s[None, :]).min(axis=1)
    near: Doubles = np.exp(-0.5 * (apart / _NEAR_S) ** 2)
    return near
