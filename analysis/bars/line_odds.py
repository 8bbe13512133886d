"""The odds that a bar begins on each beat, from what happens on it and on the beats around it.

The readings are weighed by what is true of the whole song; this tells single beats apart, so that a bar line that
comes early or late is seen where it is. The weights are fitted by `bench/form/fit_lines.py`.
"""

from __future__ import annotations

import json
from functools import cache
from pathlib import Path

import numpy as np

from analysis.bars.bar_evidence import SIGNALS, bar_signals
from analysis.bars.beat_table import BeatTable
from analysis.core.linear_model import LinearModel
from analysis.core.samples import Doubles

PATH = Path(__file__).with_name("line_weights.json")
# Beats in a bar for which there are weights.
BEATS_KNOWN = (2, 3, 4)
# A signal further from its mean than this many spreads says no more than this one (house choices).
_LEAST_SPREADS, _MOST_SPREADS = -3.0, 4.0


def line_numbers(table: BeatTable, beats: int) -> Doubles:
    """What happens on each beat and on those up to a bar away; beyond the song's ends it is mirrored.

    Parameters
    ----------
    table : BeatTable
    beats : int
        Of a bar; no more than the table has.

    Returns
    -------
    float64 array, shape (n_beats, len(number_names(beats)))
    """
    signals = np.clip(bar_signals(table), _LEAST_SPREADS, _MOST_SPREADS)
    padded = np.pad(signals, ((0, 0), (beats, beats)), mode="reflect")
    count = signals.shape[1]
    return np.concatenate([padded[:, place : place + count] for place in range(2 * beats + 1)]).T


def number_names(beats: int) -> tuple[str, ...]:
    """What each number of `line_numbers` is called, in order: the signal and how many beats later it is."""
    return tuple(f"{signal} {place:+d}" for place in range(-beats, beats + 1) for signal in SIGNALS)


def line_odds(table: BeatTable, beats: int) -> Doubles:
    """Log odds that a bar of so many beats begins on each beat of the table, shape (n_beats,)."""
    return _models()[beats].log_odds(line_numbers(table, beats))


@cache
def _models() -> dict[int, LinearModel]:
    stored = json.loads(PATH.read_text("utf-8"))
    return {beats: LinearModel.from_json(stored[str(beats)], number_names(beats)) for beats in BEATS_KNOWN}
