"""Which microphones are upside down, decided by all of them together.

Microphones on one kit hear each other's drums: a wrong cable shows as the opposite sign (D-15: positive pressure gives
positive values). Each close microphone's strokes are held against every other microphone; the microphones then fall
into two camps, and the smaller is the one that is odd. The two heads of one drum move oppositely by nature (common
practice), and a kick's microphone inside the drum hears its head from behind: neither takes part.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np

from analysis.core.samples import Doubles, Indices
from analysis.core.sentences import written
from analysis.delivery.check_results import Check
from analysis.delivery.measured_set import MeasuredSet, Track
from analysis.lineup.strokes_heard import Heard

# A peak whose rival is this near says nothing of the sign; nor does one in phase with too few (house choices).
_UNSURE = 0.7
# One camp must weigh this many times the other to call the other odd (house choice).
_OUTWEIGHS = 1.3
# So much must speak against one: a single drum that is heard through a rival of half its height does (house choice).
_LEAST_AGAINST = 0.2
_MOST_TOGETHER = 16


def polarity(measured: MeasuredSet) -> Iterator[Check]:
    """When the names say which is which."""
    top = measured.own_microphone("snare")
    if top is None:
        return
    voters = [track for track in measured.microphones if _takes_part(track)][:_MOST_TOGETHER]
    table = _agreement(measured, voters)
    signs = _camps(table)
    odd = _odd(signs, table, voters.index(top))
    for number, track in enumerate(voters):
        heard = measured.heard[top.name].get(track.name)
        known = heard if track is not top and heard is not None and heard.rival < _UNSURE else None
        if number in odd:
            yield _fails(track, voters, odd, value=known.lag_frames if known else 0)
        elif known and not track.channel.is_close:
            words = f"{_lag(track, top, known)}."
            yield Check("polarity", track.file, passed=True, value=known.lag_frames, message=words)
    yield from _other_heads(measured, top, upside_down=voters.index(top) in odd)


def _takes_part(track: Track) -> bool:
    return track.channel.hears_the_kit and track.channel.kind != "kick" and not track.channel.other_head


def _agreement(measured: MeasuredSet, voters: Sequence[Track]) -> Doubles:
    """Positive where two hear strokes alike, negative where oppositely, 0 where nobody can tell."""
    place = {track.name: number for number, track in enumerate(voters)}
    table = np.zeros((len(voters), len(voters)))
    for name, row in ((name, measured.heard[name]) for name in place if name in measured.heard):
        for other, heard in row.items():
            if other in place and other != name and heard.rival < _UNSURE:
                weight = heard.polarity * (_UNSURE - heard.rival)
                table[place[name], place[other]] += weight
                table[place[other], place[name]] += weight
    return table


def _camps(table: Doubles) -> Indices:
    """The signs that agree best with what was heard: all combinations are tried, the first one standing still."""
    count = len(table)
    codes = np.arange(2 ** max(0, count - 1))
    signs = np.ones((len(codes), count))
    for number in range(1, count):
        signs[:, number] = 1 - 2 * ((codes >> (number - 1)) & 1)
    best = int(np.einsum("ki,ij,kj->k", signs, table, signs, optimize=True).argmax())
    return np.asarray(signs[best], np.intp)


def _odd(signs: Indices, table: Doubles, top: int) -> set[int]:
    """The smaller camp; of two equal ones the one without the snare's microphone, though it may be either."""
    known = np.abs(table).sum(axis=1) > 0
    camps = [[int(number) for number in np.flatnonzero(known & (signs == sign))] for sign in (1, -1)]
    few, many = sorted(camps, key=lambda camp: (len(camp), top in camp))
    return {number for number in few if _surely_opposite(table[number], few, many)}


def _surely_opposite(row: Doubles, few: Sequence[int], many: Sequence[int]) -> bool:
    against = float(np.maximum(-row[list(many)], 0).sum())
    with_them = float(np.maximum(row[list(many)], 0).sum())
    return against > max(_OUTWEIGHS * with_them, _LEAST_AGAINST) and bool(few)


def _lag(track: Track, top: Track, heard: Heard) -> str:
    way = "after" if heard.lag_frames >= 0 else "before"
    return f"{track.file} is {written('_frames', abs(heard.lag_frames))} {way} {top.file}"


def _fails(track: Track, voters: Sequence[Track], odd: set[int], *, value: int) -> Check:
    others = [one.file for number, one in enumerate(voters) if number not in odd]
    against = f"{others[0]}; one of the two is upside down" if len(voters) == 2 else f"{len(others)} other microphones"
    words = f"{track.file}: polarity opposite to {against}."
    return Check("polarity", track.file, passed=False, value=value, message=words)


def _other_heads(measured: MeasuredSet, top: Track, *, upside_down: bool) -> Iterator[Check]:
    """Expected to be opposite; neither way is a fault."""
    for track in measured.microphones:
        heard = measured.heard[top.name].get(track.name)
        if track.channel.kind != "snare" or not track.channel.other_head or heard is None or heard.rival >= _UNSURE:
            continue
        opposite = (heard.polarity < 0) != upside_down
        note = ", polarity opposite, as expected of the other head of the drum"
        if not opposite:
            note = ": same polarity, though the two heads of a drum move in opposite directions; it was flipped"
        words = f"{_lag(track, top, heard)}{note}."
        yield Check("polarity", track.file, passed=True, value=heard.lag_frames, message=words)
