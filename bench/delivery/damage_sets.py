"""The whole set against the song: late, drifting, at the wrong speed, a beat off, or another performance."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from fractions import Fraction

import numpy as np
import soxr

from analysis.core.samples import Floats
from bench.delivery.damage_tracks import shifted
from bench.delivery.hits import RATE_HZ
from bench.delivery.takes import DrumSet, Plan, make
from bench.delivery.truth import Damage, Maker, Truth

_MAP_MS = 4.0  # how near the map's figure must be: strokes scatter


def _moved(drum_set: DrumSet, frames: int) -> DrumSet:
    return drum_set.with_tracks({name: shifted(track, frames) for name, track in drum_set.tracks.items()})


def _late(frames_of: Callable[[Plan], int], *, from_map: bool) -> Maker:
    """`from_map`: whether the distance from the map can be seen on its beats too."""

    def make_it(drum_set: DrumSet, _rng: np.random.Generator) -> tuple[DrumSet, Truth] | None:
        frames = frames_of(drum_set.plan)
        figures: dict[str, tuple[float, float]] = {"lined-up": (frames, 1)}
        if from_map:
            due_ms = 1000 * frames / RATE_HZ + np.mean([1000 * (one.time_s - one.due_s) for one in drum_set.strokes])
            figures["on-the-map"] = (round(float(due_ms), 1), _MAP_MS)
        truth = Truth(
            ("lined-up", "on-the-map", "fits-originals", "whole-bars"), figures=figures, says=f"{frames} frames late"
        )
        return _moved(drum_set, frames), truth

    return make_it


def _beats(count: int) -> Callable[[Plan], int]:
    return lambda plan: round(float(plan.tempo_map.segments[0].beat_s) * count * RATE_HZ)


def _bars(count: int) -> Callable[[Plan], int]:
    return lambda plan: round(float(plan.tempo_map.segments[0].bar_s) * count * RATE_HZ)


def stretched(track: Floats, factor: float) -> Floats:
    """Played slower by `factor` (its length times that), then as long as before."""
    slow = soxr.resample(track, RATE_HZ, RATE_HZ * factor, quality="HQ")
    return np.asarray(np.pad(slow, (0, max(0, len(track) - len(slow))))[: len(track)], np.float32)


def _drifting(ppm: float) -> Maker:
    """A recorder whose clock ran off by so many parts in a million: positive is slower, so later and later."""

    def make_it(drum_set: DrumSet, _rng: np.random.Generator) -> tuple[DrumSet, Truth] | None:
        tracks = {name: stretched(track, 1 + ppm / 1e6) for name, track in drum_set.tracks.items()}
        truth = Truth(("drift",), figures={"drift": (ppm, max(1.0, abs(ppm) * 0.03))}, says=f"{ppm:+.0f} ppm")
        return drum_set.with_tracks(tracks), truth

    return make_it


def _at_speed(from_hz: int, to_hz: int) -> Maker:
    """Recorded at `from_hz`, played at `to_hz` and written down so: faster where `to_hz` is higher."""

    def make_it(drum_set: DrumSet, _rng: np.random.Generator) -> tuple[DrumSet, Truth] | None:
        factor = to_hz / from_hz
        tracks = {name: stretched(track, 1 / factor) for name, track in drum_set.tracks.items()}
        truth = Truth(("speed",), figures={"speed": (factor, 0.001)}, says=f"{factor:.5f} times as fast")
        return drum_set.with_tracks(tracks), truth

    return make_it


def _labelled(rate_hz: int, *, all_of_them: bool) -> Maker:
    def make_it(drum_set: DrumSet, rng: np.random.Generator) -> tuple[DrumSet, Truth] | None:
        names = list(drum_set.tracks) if all_of_them else [str(rng.choice(list(drum_set.tracks)))]
        changed = replace(drum_set, rates_hz=dict.fromkeys(names, rate_hz))
        if all_of_them:
            factor = rate_hz / RATE_HZ
            return changed, Truth(("speed",), figures={"speed": (factor, 0.001)}, says=f"{factor:.5f} times as fast")
        return changed, Truth(("rate",), tuple(names), {"rate": (rate_hz, 0)}, f"{rate_hz} Hz")

    return make_it


def _instead(change: Callable[[Plan, np.random.Generator], Plan], codes: tuple[str, ...]) -> Maker:
    """Another performance under the same name: the tracks of the changed plan, cut or padded to the length."""

    def make_it(drum_set: DrumSet, rng: np.random.Generator) -> tuple[DrumSet, Truth] | None:
        plan = change(drum_set.plan, rng)
        other = make(plan)
        tracks = {name: _as_long(other.tracks[name], drum_set.plan.frames) for name in drum_set.tracks}
        figures: dict[str, tuple[float, float]] = {}
        if len(plan.tempos) == 1 and "tempo" in codes:
            figures["tempo"] = (_played_bpm(other, drum_set.plan), 0.1)
        return drum_set.with_tracks(tracks), Truth(codes, figures=figures, says=f"{plan.tempos}")

    return make_it


def _played_bpm(other: DrumSet, plan: Plan) -> float:
    """What was played where it is the wrong tempo: after a change of the map, a player's wander is a part of it."""
    bpm, from_s = float(Fraction(other.plan.tempos[0][1])), float(plan.tempo_map.segments[-1].time_s)
    if len(plan.tempos) == 1:
        return bpm
    due_s, time_s = np.array([(one.due_s, one.time_s) for one in other.strokes if one.time_s >= from_s]).T
    return bpm / float(np.polyfit(due_s, time_s, 1)[0])


def _as_long(track: Floats, frames: int) -> Floats:
    return np.pad(track, (0, max(0, frames - len(track))))[:frames]


def _other_song(plan: Plan, _rng: np.random.Generator) -> Plan:
    """96 BPM in 3/4 against whatever this is."""
    bpm = "96" if abs(float(plan.tempos[0][1]) - 96) > 3 else "87"
    bars = round(plan.frames / RATE_HZ / (3 * 60 / float(bpm)))
    return replace(plan, tempos=((1, bpm, "3/4"),), pattern="waltz", bars=bars, seed=plan.seed + 500_000)


def _other_tempo(plan: Plan, _rng: np.random.Generator) -> Plan:
    """0.3 BPM slower."""
    tempos = tuple((bar, str(round(float(bpm) - 0.3, 2)), meter) for bar, bpm, meter in plan.tempos)
    return replace(plan, tempos=tempos, seed=plan.seed + 500_000)


def _other_take(plan: Plan, _rng: np.random.Generator) -> Plan:
    return replace(plan, seed=plan.seed + 500_000)


def _through_the_change(plan: Plan, _rng: np.random.Generator) -> Plan:
    return replace(plan, tempos=plan.tempos[:1], seed=plan.seed + 500_000)


def _broken(ms: float) -> Maker:
    """From the middle on everything is later: something was cut or put in. The map's figure holds what the player does
    there too."""

    def make_it(drum_set: DrumSet, _rng: np.random.Generator) -> tuple[DrumSet, Truth] | None:
        bar, frames = drum_set.plan.bars // 2, round(ms * RATE_HZ / 1000)
        at = drum_set.tempo_map.frame_of_bar(bar, RATE_HZ) - round(0.03 * RATE_HZ)
        tracks = {}
        for name, track in drum_set.tracks.items():
            moved = shifted(track, frames)
            tracks[name] = np.concatenate([track[:at], moved[at:]])
        sides = [
            [1000 * (one.time_s - one.due_s) for one in drum_set.strokes if (one.bar >= bar) == late] for late in (0, 1)
        ]
        played_ms = float(np.mean(sides[1]) - np.mean(sides[0]))
        figures = {"break": (round(ms + played_ms / 2, 1), abs(played_ms) / 2 + 4.0)}
        return drum_set.with_tracks(tracks), Truth(("break",), figures=figures, says=f"{ms:.0f} ms from bar {bar}")

    return make_it


_WHOLE_SETS = (
    ("the set 1024 frames late", _late(lambda _: 1_024, from_map=True)),
    ("the set 60 ms late", _late(lambda _: 2_880, from_map=True)),
    ("a clock that runs 100 ppm slow", _drifting(100)),
    ("played at 48 kHz, recorded at 44.1", _at_speed(44_100, 48_000)),
    ("played at 44.1 kHz, recorded at 48", _at_speed(48_000, 44_100)),
    ("all labelled 44.1 kHz", _labelled(44_100, all_of_them=True)),
    ("one beat late", _late(_beats(1), from_map=False)),
    ("one bar late", _late(_bars(1), from_map=False)),
    ("another song: 96 BPM in 3/4", _instead(_other_song, ("tempo", "on-the-map", "same-take"))),
    ("another tempo: 0.3 BPM slower", _instead(_other_tempo, ("tempo", "on-the-map", "same-take"))),
    ("a jump of 40 ms in the middle", _broken(40)),
)
_NOT_BY_MAP = ("one beat late", "one bar late", "the set 1024 frames late", "a clock that runs 100 ppm slow")
_ONE_TEMPO = ("rock", "tight", "ghosts", "behind", "half", "five", "six", "swing", "toms", "pulled", "loose")
SET_DAMAGES = (
    *(Damage(name, maker, _ONE_TEMPO) for name, maker in _WHOLE_SETS),
    *(
        Damage(f"{name}; no mix", maker, _ONE_TEMPO, with_mix=False, aim=name not in _NOT_BY_MAP)
        for name, maker in _WHOLE_SETS
    ),
    *(Damage(f"the set {frames} frames late", _late(lambda _, n=frames: n, from_map=False)) for frames in (2, 480)),  # type: ignore[misc]
    Damage("a clock that runs 30 ppm fast", _drifting(-30)),
    Damage("one file labelled 44.1 kHz", _labelled(44_100, all_of_them=False)),
    Damage("another take than the accepted mix", _instead(_other_take, ("same-take",))),
    Damage("played through the tempo change", _instead(_through_the_change, ("tempo", "on-the-map")), ("steps",)),
    Damage(
        "played through the tempo change; no mix",
        _instead(_through_the_change, ("tempo", "on-the-map")),
        ("steps",),
        with_mix=False,
    ),
)
