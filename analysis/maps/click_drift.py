"""How far a click set a little wrong has moved by the end: the arithmetic behind "three decimals or a fraction"."""

from __future__ import annotations

from analysis.maps.tempo_map import exact


def click_drift_s(true_bpm: float, set_bpm: float, seconds: float) -> float:
    """Seconds by which a click at `set_bpm` is ahead of music at `true_bpm` after `seconds`; late is negative.

    In that time the music plays `seconds * true / 60` beats; the click reaches the last of them this much sooner.
    """
    apart = exact(set_bpm) - exact(true_bpm)
    return float(exact(seconds) * apart / exact(set_bpm))
