"""A kit's strokes from the microphones that stand next to its drums, so that distance does not make them late.

A close microphone hears its own drum a fraction of a millisecond after the stick lands, a room up to 20 ms later: where
there are close ones, the others are not asked. A stroke of a track's own drum is loud among the track's strokes.

Tested in `tests/analysis/delivery/test_tempo_checks.py`.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from analysis.core.samples import Doubles
from analysis.features.attacks import attacks_of
from analysis.features.feature_arrays import Features
from analysis.features.strokes import struck_at
from analysis.maps.free_passages import in_time
from analysis.maps.tempo_map import TempoMap

KICK = re.compile(r"(?<![a-z])(kick|bd|bass[ _-]?drum)", re.I)
SNARE = re.compile(r"(?<![a-z])(snare|sn(?=top|bot|btm|[ _-]|$))", re.I)
_CYMBAL = re.compile(r"(?<![a-z])(hat|hh|hi[ _-]?hat|ride)", re.I)
_FAR = re.compile(r"(?<![a-z])(oh|over[ _-]?heads?|room|rm|amb|mix|drummix)", re.I)
# House choices: own strokes are this loud among the loudest of their track; the fewest that a kit needs to be judged
# by its close microphones; and what a stroke's loudness is looked for in.
_OWN_STROKE, _LOUDEST = 0.3, 0.95
FEWEST_STROKES = 24
_LOUD_WITHIN_S = 0.015
# The middle of the millisecond in which a stroke is seen lies this far after the stick: 0.3 ms, in close microphones
# of made strokes (seen).
_SEEN_LATE_S = 0.0003


@dataclass(frozen=True)
class Strokes:
    """`times_s` in order, `loudness` as amplitudes. `close`: whether they come from close microphones."""

    times_s: Doubles
    loudness: Doubles
    close: bool


def strokes_of_kit(tracks: dict[str, Features], tempo_map: TempoMap) -> Strokes:
    """The strokes that are best placed: of kick, snare and cymbals, else of all close microphones, else of all.

    Parameters
    ----------
    tracks : dict of str to Features
        Each by its channel's name; clicks have been left out.
    tempo_map : TempoMap
        Strokes in its free passages are left out.
    """
    near = {name: features for name, features in tracks.items() if not _FAR.search(name)}
    main = {name: features for name, features in near.items() if KICK.search(name) or SNARE.search(name)}
    cymbals = {name: features for name, features in near.items() if _CYMBAL.search(name)}
    for chosen in (main | cymbals, near):
        found = _gathered(chosen.values(), tempo_map)
        if len(found[0]) >= FEWEST_STROKES:
            return Strokes(*found, close=True)
    return Strokes(*_gathered(tracks.values(), tempo_map), close=False)


def _gathered(tracks: Iterable[Features], tempo_map: TempoMap) -> tuple[Doubles, Doubles]:
    parts = [own_strokes(features) for features in tracks]
    times, loudness = (np.concatenate([np.zeros(0), *(part[index] for part in parts)]) for index in (0, 1))
    order = np.argsort(times, kind="stable")
    times, loudness = times[order], loudness[order]
    wanted = in_time(times, tempo_map)
    return times[wanted], loudness[wanted]


def own_strokes(features: Features) -> tuple[Doubles, Doubles]:
    """Times and loudness of the strokes of a track's own drum."""
    attacks = attacks_of(features)
    times = struck_at(features, attacks.times_s[~attacks.is_bass])
    loudness = _loudness(features, times)
    if not len(times):
        return times, loudness
    own = loudness >= _OWN_STROKE * np.quantile(loudness, _LOUDEST)
    return times[own] - _SEEN_LATE_S, loudness[own] / loudness[own].max()


def _loudness(features: Features, times_s: Doubles) -> Doubles:
    rate_hz = features.energy_rate_hz
    steps = np.arange(max(1, round(_LOUD_WITHIN_S * rate_hz)))
    at = (times_s * rate_hz).astype(np.intp)[:, None] + steps
    energy = features.energy_1ms.astype(np.float64)
    if not len(energy):
        return np.zeros(len(times_s))
    loudness: Doubles = np.sqrt(energy[np.clip(at, 0, len(energy) - 1)].max(axis=1))
    return loudness
