"""Does a stated interval hold the truth 95 times in 100? Sets moved by random distances, players that scatter.

`python -m bench delivery --coverage N`: N takes of three close microphones, each moved by a distance that is no whole
number of samples. Against a mix of the same playing the truth is that distance; against the map it is the distance and
where the player sits on average. Beside it stands how far the strokes on the beats of this very take lie.
"""

from __future__ import annotations

import tempfile
from collections.abc import Iterator
from dataclasses import dataclass, replace
from fractions import Fraction
from pathlib import Path

import numpy as np
from scipy import fft

from analysis.core.samples import Doubles, Floats
from analysis.core.thresholds import Limits
from analysis.delivery.check_results import Check
from analysis.delivery.line_up import lined_up
from analysis.delivery.measured_set import Song, measure_set
from analysis.delivery.verify_rhythm import rhythm_checks
from bench.delivery.hits import RATE_HZ
from bench.delivery.kits import KITS
from bench.delivery.microphones import dry_tracks, record
from bench.delivery.players import Player, Stroke, play
from bench.delivery.takes import DrumSet, Plan, rough_mix, write

_MICROPHONES = ("KickIn", "SnTop", "Hat")
# Bars of 4/4, how far a set is moved in frames (against the map it must stay a feel), and the players' spread in ms.
_BARS, _FURTHEST, _SPREAD_MS = 8, 700, (10.0, 20.0)
_STATED = 0.95
_PRINTED_EVERY, _ON_A_BEAT = 20, 0.01


@dataclass(frozen=True)
class Trial:
    """`error`: what is said less what is true, in samples or ms; `held`: whether the stated interval holds the truth,
    None where none is stated."""

    error: float
    held: bool | None


def print_coverage(count: int, first_seed: int) -> None:
    print(f"\nIntervals: {count} takes, players scattering by {_SPREAD_MS[0]:.0f} to {_SPREAD_MS[1]:.0f} ms")
    found: dict[str, list[Trial]] = {}
    for number in range(1, count + 1):
        for name, trial in _trials(first_seed + number - 1):
            found.setdefault(name, []).extend([trial] if trial else [])
        if number % _PRINTED_EVERY == 0 or number == count:
            print(f"  after {number} takes", flush=True)
            for name, trials in found.items():
                print(_line(name, trials, number), flush=True)


def _line(name: str, trials: list[Trial], of: int) -> str:
    if not trials:
        return f"  {name}: nothing was said"
    errors: Doubles = np.abs([trial.error for trial in trials])
    held = [trial.held for trial in trials if trial.held is not None]
    return (
        f"  {name}: error {np.median(errors):.2f} in the middle, {np.quantile(errors, _STATED):.2f} in 95 of 100, "
        f"{errors.max():.2f} at most; the interval holds the truth in {sum(held)} of {len(held)} "
        f"({sum(held) / max(1, len(held)):.3f}), {of - len(trials)} times nothing was said"
    )


def _trials(seed: int) -> Iterator[tuple[str, Trial | None]]:
    """Against the mix, and against the map: where the player sits on average, and where these strokes do."""
    rng = np.random.default_rng([seed, 31])
    drum_set, frames = _take(seed, rng), float(rng.uniform(-_FURTHEST, _FURTHEST))
    checks, moved_ms, sits_ms = _asked(drum_set, frames), 1000 * frames / RATE_HZ, drum_set.plan.player.late_ms
    played_ms = [1000 * (one.time_s - one.due_s) for one in drum_set.strokes if _is_on_a_beat(drum_set, one)]
    yield "against the mix, samples", _trial(checks, "lined-up", frames)
    yield "against the map, ms, where the player sits", _trial(checks, "on-the-map", moved_ms + sits_ms)
    yield "against the map, ms, these strokes' mean", _trial(checks, "on-the-map", moved_ms + float(np.mean(played_ms)))


def _is_on_a_beat(drum_set: DrumSet, stroke: Stroke) -> bool:
    beats = (stroke.due_s - float(drum_set.plan.bar_one_s)) / float(drum_set.tempo_map.segments[0].beat_s)
    return abs(beats - round(beats)) < _ON_A_BEAT


def _take(seed: int, rng: np.random.Generator) -> DrumSet:
    whole = KITS["close"]
    kit = replace(whole, microphones=tuple(one for one in whole.microphones if one.name in _MICROPHONES))
    player = Player("coverage", late_ms=float(rng.uniform(-6, 6)), spread_ms=float(rng.uniform(*_SPREAD_MS)))
    tempos = ((1, str(int(rng.integers(100, 140))), "4/4"),)
    plan = Plan(kit.name, "rock", player, tempos, _BARS, seed, Fraction(1))
    strokes = play(plan.tempo_map, plan.bars, plan.pattern, player, rng, drums={"kick", "snare", "hat"})
    tracks = record(kit, dry_tracks(kit, strokes, plan.frames, player, seed), 1_000 * seed)
    mix = rough_mix(tracks, rng)
    return DrumSet(plan, plan.tempo_map, tracks, mix, mix, np.zeros(0, np.float32), tuple(strokes))


def _asked(drum_set: DrumSet, frames: float) -> list[Check]:
    moved = drum_set.with_tracks({name: _moved(track, frames) for name, track in drum_set.tracks.items()})
    with tempfile.TemporaryDirectory(prefix="coverage-") as folder:
        files = write(moved, Path(folder))
        measured = measure_set(files.tracks, Song(drum_set.tempo_map, against=files.mix), Limits())
        return [*lined_up(measured), *rhythm_checks(measured)]


def _moved(track: Floats, frames: float) -> Floats:
    """Later by so many frames and a fraction: a turn of phase for each frequency, over enough silence."""
    size = fft.next_fast_len(len(track) + 2 * _FURTHEST, real=True)
    spectrum = fft.rfft(track, size) * np.exp(-2j * np.pi * fft.rfftfreq(size) * frames)
    return np.asarray(fft.irfft(spectrum, size)[: len(track)], np.float32)


def _trial(checks: list[Check], code: str, truth: float) -> Trial | None:
    said = next((check for check in checks if check.code == code and check.value is not None), None)
    if said is None:
        return None
    held = None if said.low is None or said.high is None else bool(said.low <= truth <= said.high)
    middle = said.value if said.low is None or said.high is None else (said.low + said.high) / 2
    return Trial(float(middle) - truth, held)
