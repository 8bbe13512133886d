"""Does each track hold the microphone that its name says?

By what it hears first and how brightly: drums with skins are darker than the microphones over the kit and than cymbals,
a kick is darker than a snare, two microphones a hand apart do not hang on different drums, and a microphone in a kit is
never still while the kit plays. Only comparisons within the set count: absolute colours differ from house to house.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence

import numpy as np

from analysis.core.samples import Doubles
from analysis.delivery.check_results import Check
from analysis.delivery.measured_set import MeasuredSet

# What should be darker must not be brighter by this much. What a microphone's own drum gives it may be little beside
# cymbals from elsewhere: a tom that is never struck was 1 dB brighter than a hat that is never struck, and 7 dB
# brighter than a dull snare (seen); under overheads toms were 4 dB darker and more (house choices).
_BRIGHTER_DB = {"overhead": 3.0, "hat": 6.0, "ride": 6.0, "snare": 10.0}
# A kick holds most of its power under `LOW_HZ`. A snare's microphone may hold as much of it, from the kick beside it;
# more than the kick's own by this much it does not (house choices).
_KICK_LOW_DB, _SNARE_ABOVE_DB = -4.0, 2.0
# Nearer than 18 cm to each other on strokes that both hear clearly: one drum's microphones (arithmetic: 343 m/s).
_ONE_DRUM_S, _CLEARLY = 0.0005, 0.3
# Tracks that do not hear each other's strokes at all are not of one kit (house choice).
_AT_ALL = 0.7
# Alike to this share of their power, two tracks are one microphone (house choice).
_ONE_MICROPHONE = 0.9995
# Short-time levels of what is played range over more than the second, those of hiss over less than the first
# (house choices).
_STILL_DB, _PLAYED_DB = 6.0, 15.0
_SKINS = frozenset({"kick", "floor", "tom"})


def microphones(measured: MeasuredSet) -> Iterator[Check]:
    faults = names_wrong(measured)
    for number, words in sorted(faults.items()):
        track = measured.microphones[number]
        yield Check("microphone", track.file, passed=False, value=track.channel.kind, message=words)
    named = len(_named(measured))
    if not faults and named > 1 and measured.excerpts.samples:
        words = "What each track hears, and how brightly, contradicts none of the names."
        yield Check("microphone", None, passed=True, value=named, message=words)


def names_wrong(measured: MeasuredSet) -> dict[int, str]:
    """By its place among the microphones, what is wrong with a track's name."""
    named = _named(measured)
    if len(named) < 2 or not measured.excerpts.samples:
        return {}
    faults = _still(measured, named)
    alive = [number for number in named if number not in faults]
    faults |= _twins(measured, alive)
    return faults | _wrong_colours(measured, [number for number in alive if number not in faults])


def _named(measured: MeasuredSet) -> list[int]:
    return [number for number, track in enumerate(measured.microphones) if track.channel.hears_the_kit]


def _still(measured: MeasuredSet, named: Sequence[int]) -> dict[int, str]:
    ranges_db, tracks = measured.excerpts.ranges_db, measured.microphones
    if max(ranges_db[number] for number in named) < _PLAYED_DB:
        return {}
    return {
        number: f"{tracks[number].file} hears nothing of the kit: its level never moves while the others play."
        for number in named
        if ranges_db[number] < _STILL_DB
    }


def _twins(measured: MeasuredSet, alive: Sequence[int]) -> dict[int, str]:
    """Tracks that are one apart from their level; those that are equal to the bit are said elsewhere."""
    rows = np.array(alive, np.intp)
    products = sum(window[rows] @ window[rows].T for window in measured.excerpts.samples)
    scale = np.sqrt(np.diag(products)) + 1e-12
    tracks, found = measured.microphones, {}
    for one, other in zip(
        *np.nonzero(np.triu(np.abs(products / np.outer(scale, scale)) > _ONE_MICROPHONE, 1)), strict=True
    ):
        first, second = tracks[rows[one]], tracks[rows[other]]
        if first.digest != second.digest:
            found[int(rows[other])] = f"{second.file} and {first.file} are one microphone, differing in level only."
    return found


def _wrong_colours(measured: MeasuredSet, alive: Sequence[int]) -> dict[int, str]:
    """What is wrong with whom."""
    shares = measured.excerpts.shares_db
    faults = _kick_and_snare(measured, alive, shares)
    over = _too_bright(measured, [number for number in alive if number not in faults], shares)
    while over:
        # Who is furthest off altogether is at fault; of two that stand against each other alone, either may be.
        sums: Counter[int] = Counter()
        for pair, db in over.items():
            sums.update(dict.fromkeys(pair, db))
        most = max(sums.values())
        for number in [number for number, db in sums.items() if db > most - 1e-9]:
            other = next(two for pair in over if number in pair for two in pair if two != number)
            faults[number] = _colour_words(measured, number, other, shares)
        over = {pair: db for pair, db in over.items() if not set(pair) & set(faults)}
    return faults


def _too_bright(measured: MeasuredSet, alive: Sequence[int], shares: Doubles) -> dict[tuple[int, int], float]:
    """Pairs of a dark drum and what should be brighter, with how much it is the other way round."""
    kinds = [track.channel.kind for track in measured.microphones]
    return {
        (dark, bright): float(shares[dark, 1] - shares[bright, 1])
        for dark in alive
        for bright in alive
        if kinds[dark] in _SKINS and shares[dark, 1] > shares[bright, 1] + _BRIGHTER_DB.get(kinds[bright], np.inf)
    }


def _kick_and_snare(measured: MeasuredSet, alive: Sequence[int], shares: Doubles) -> dict[int, str]:
    own = {kind: measured.own_microphone(kind) for kind in ("kick", "snare")}
    numbers = [number for kind in own for number in alive if measured.microphones[number] is own[kind]]
    if len(numbers) < 2:
        return {}
    kick, snare = numbers
    files = [measured.microphones[number].file for number in numbers]
    heard = measured.heard[measured.microphones[snare].name].get(measured.microphones[kick].name)
    if heard is None or heard.rival >= _AT_ALL:
        return {}
    near = round(_ONE_DRUM_S * measured.sample_rate_hz)
    # Two microphones never hear a drum at the very same frame: tracks that do were mixed from one.
    together = heard.rival < _CLEARLY and 0 < abs(heard.lag_frames) < near
    low = shares[kick, 0], shares[snare, 0]
    faults = {}
    if together or low[0] < low[1] - _SNARE_ABOVE_DB:
        if low[0] < _KICK_LOW_DB:
            faults[kick] = f"{files[0]} sounds like a snare: {_percent(low[0])} of its power lie under 120 Hz."
        if low[1] > _KICK_LOW_DB:
            faults[snare] = f"{files[1]} sounds like a kick: {_percent(low[1])} of its power lie under 120 Hz."
    return faults


def _percent(share_db: float) -> str:
    return f"{100 * 10 ** (share_db / 10):.0f} %"


def _colour_words(measured: MeasuredSet, number: int, other: int, shares: Doubles) -> str:
    apart = shares[number, 1] - shares[other, 1]
    way = "brighter" if apart > 0 else "darker"
    files = measured.microphones[number].file, measured.microphones[other].file
    return f"{files[0]} is {abs(apart):.0f} dB {way} above 6 kHz than {files[1]}: it holds another microphone."
