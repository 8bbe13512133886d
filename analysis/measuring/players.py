"""Who plays in each section, and who comes in or stops there: from the level of each file, bar by bar.

Files that share a role by their names are one player. A mix is none, and of one player alone there is nothing to say.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

import numpy as np

from analysis.core.chart_draft import Entry
from analysis.core.part_names import OTHER, role_in_name
from analysis.core.reports import Section
from analysis.core.samples import Doubles, Flags
from analysis.features.feature_arrays import Features

# A bar is played in when it is within so many dB of the player's loud bars, and above this level of its own: what is
# below is spill, hum or the end of a last note (house choices). A section is played when at least half its bars are.
_BELOW_LOUD_DB, _LEAST_DB, _LOUD = 24.0, -66.0, 90
_SHARE = 0.5
_NOT_PLAYERS = ("click", "mix")


def entries_of(
    files: Sequence[tuple[str, Features]], downbeats_s: Doubles, sections: Sequence[Section]
) -> tuple[tuple[str, ...], tuple[Entry, ...]]:
    """All players, and who enters and leaves with each section; both empty where there is nothing to tell apart.

    Parameters
    ----------
    files : sequence of (name, Features)
        From one common start.
    downbeats_s : float64 array, shape (n_bars + 1,)
        Seconds from that start.
    sections : sequence of Section
        Bars counted from 1. Who is there in the first one enters with it, unless all are.
    """
    players = _players(files)
    if len(players) < 2 or not sections:
        return (), ()
    playing = {name: _sections_played(_levels_db(own, downbeats_s), sections) for name, own in players.items()}
    heard = [name for name, flags in playing.items() if flags.any()]
    if len(heard) < 2:
        return (), ()
    first = [name for name in heard if playing[name][0]]
    entries = [] if len(first) == len(heard) else [Entry(1, name) for name in first]
    for number, (before, now) in enumerate(pairwise(range(len(sections))), 2):
        entries += [Entry(number, name) for name in heard if playing[name][now] and not playing[name][before]]
        entries += [
            Entry(number, name, enters=False) for name in heard if playing[name][before] and not playing[name][now]
        ]
    return tuple(heard), tuple(entries)


def _players(files: Sequence[tuple[str, Features]]) -> dict[str, list[Features]]:
    """By role; a file whose name says none is called by its own words."""
    own = _own_words([name for name, _ in files])
    found: dict[str, list[Features]] = {}
    for (name, features), words in zip(files, own, strict=True):
        role = role_in_name(name)
        if role not in _NOT_PLAYERS:
            found.setdefault(words if role == OTHER else role, []).append(features)
    return found


def _own_words(names: Sequence[str]) -> list[str]:
    """What is left of each name without its ending and without what all of them begin with."""
    split = [name.rpartition(".")[0].replace("_", " ").replace("-", " ").split() or [name] for name in names]
    shared = 0
    while len(split) > 1 and all(len(words) > shared + 1 and words[shared] == split[0][shared] for words in split):
        shared += 1
    return [" ".join(words[shared:]).lower() for words in split]


def _levels_db(files: Sequence[Features], downbeats_s: Doubles) -> Doubles:
    """Mean level of each bar, of all files of one player together."""
    power = np.zeros(len(downbeats_s) - 1)
    for features in files:
        sums = np.concatenate([[0.0], np.cumsum(features.energy_1ms, dtype=np.float64)])
        edges = np.clip(np.round(downbeats_s * features.energy_rate_hz).astype(int), 0, len(sums) - 1)
        power += np.diff(sums[edges]) / np.maximum(np.diff(edges), 1)
    levels: Doubles = 10 * np.log10(np.maximum(power, 1e-12))
    return levels


def _sections_played(levels_db: Doubles, sections: Sequence[Section]) -> Flags:
    bars = (levels_db > np.percentile(levels_db, _LOUD) - _BELOW_LOUD_DB) & (levels_db > _LEAST_DB)
    spans = [bars[one.start_bar - 1 : one.start_bar - 1 + one.bars] for one in sections]
    return np.array([len(span) > 0 and span.mean() >= _SHARE for span in spans], np.bool_)
