"""A recorder's clock against the map, where no mix of the same playing is there: mostly nobody can tell.

A clock 100 parts in a million off moves the end of a song of half a minute by 3 ms, and players drift as much.
"""

from __future__ import annotations

from analysis.core.sentences import written
from analysis.delivery.check_results import Check

# Less than this at the end of the song is no fault that anyone hears (house choice).
_HEARD_MS = 10.0


def clock_by_map(tempo: Check, length_s: float) -> Check:
    """What a tempo that was measured against the map leaves open of the clock, over a song of this length."""
    if tempo.undecided or tempo.low is None or tempo.high is None:
        return _no_clock("the hits do not show one tempo all along the song")
    low, value, high = (1e6 * (tempo.limit / bpm - 1) for bpm in (tempo.high, tempo.value, tempo.low))
    per_ppm_ms = length_s / 1000
    if max(abs(low), abs(high)) * per_ppm_ms > _HEARD_MS:
        words = f"the hits leave room for {low:.0f} to {high:.0f} parts in a million, players drift as much"
        return _no_clock(words, low, high)
    words = f"Against the map the clock is at most {written('_ms', round(_HEARD_MS))} off at the end of the song."
    limit = round(_HEARD_MS / per_ppm_ms, 1)
    ppm, low, high = (round(one, 1) for one in (value, low, high))
    return Check("drift", None, passed=True, value=ppm, limit=limit, message=words, low=low, high=high)


def _no_clock(why: str, low: float | None = None, high: float | None = None) -> Check:
    words = f"Can't tell whether the clock runs true without a mix of the same playing: {why}."
    ends = {"low": None if low is None else round(low, 1), "high": None if high is None else round(high, 1)}
    return Check("drift", None, passed=True, message=words, undecided=True, **ends)
