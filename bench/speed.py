"""Time and memory of the engine beside a bare decode and beside general libraries, on the same file in the same run."""

from __future__ import annotations

import argparse
import json
import math
import os
import subprocess
import sys
import time
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path

import soundfile

from analysis.band.render import Stem, mix_stems, render_stems
from analysis.band.score import steady, write_score
from bench.jobs import JOBS

SONG_MINUTES = 5.0
LONG_MINUTES = 20.0  # beyond this each job runs once, and not the libraries: they load whole files
REPEATS = 3
BARS_A_MINUTE = 28  # 4/4 at 112
ON_ONE_CORE = (
    "import os, sys; os.sched_setaffinity(0, sorted(os.sched_getaffinity(0))[:1]); os.execv(sys.argv[1], sys.argv[1:])"
)


@dataclass(frozen=True)
class Timing:
    first_s: float
    warm_s: float
    peak_mb: float


def run(options: argparse.Namespace) -> None:
    duration_s = options.minutes * 60
    path = _timed_file(options.data, options.minutes, options.rate)
    about = f"{options.minutes:g} min, {options.rate / 1000:g} kHz, 24 bits, stereo"
    print(f"\nSpeed: one file of {about}; one core, one thread")
    is_long = options.minutes > LONG_MINUTES
    names = [name for name in JOBS if name != "libraries" or not is_long]
    timings = {name: _timed(name, path, repeats=0 if is_long else REPEATS) for name in names}
    _print_table(timings, duration_s)
    _print_cold_inspect(path, duration_s)


def _timed_file(folder: Path, minutes: float, rate: int) -> Path:
    """A song by the band, played again and again until the file is as long as asked; made once and kept."""
    path = folder / f"speed-{minutes:g}min-{rate}.wav"
    if path.exists():
        return path
    start = time.perf_counter()
    song = _song(min(minutes, SONG_MINUTES), rate)
    print(f"  the band played {len(song) / rate:.0f} s of six stems in {time.perf_counter() - start:.1f} s")
    left = round(minutes * 60 * rate)
    unfinished = path.with_suffix(".part")
    with soundfile.SoundFile(unfinished, "w", rate, 2, "PCM_24", format="RF64") as file:
        while left > 0:
            file.write(song[:left])
            left -= len(song)
    return unfinished.rename(path)


def _song(minutes: float, rate: int) -> Stem:
    bars = max(2, math.ceil(minutes * BARS_A_MINUTE))
    form = (("verse", bars // 2), ("chorus", bars - bars // 2))
    players = ("bass", "keys", "strings", "pad", "lead", "drums")
    plan = steady("Speed", 1, Fraction(112), form=form, players=players, ring_out_s=0.0)
    return mix_stems(render_stems(write_score(plan), rate))[: round(minutes * 60 * rate)]


def _timed(name: str, path: Path, *, repeats: int) -> Timing | None:
    command = [sys.executable, "-W", "ignore", "-m", "bench.jobs", name, str(path), str(repeats)]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    if done.returncode:
        print(f"  {name}: did not run ({(done.stderr.strip().splitlines() or ['no word'])[-1]})")
        return None
    return Timing(**json.loads(done.stdout))


def _print_table(timings: dict[str, Timing | None], duration_s: float) -> None:
    print(f"  {'job':<14}{'CPU s':>9}{'first':>9}{'x real':>9}{'x decode':>10}{'libs / it':>11}{'peak MB':>9}")
    floor, libraries = timings["bare_decode"], timings.get("libraries")
    for name, timing in timings.items():
        if timing is None:
            continue
        to_floor = f"{timing.warm_s / floor.warm_s:.1f}" if floor else "-"
        to_libraries = f"{libraries.warm_s / timing.warm_s:.1f}" if libraries else "-"
        speed = duration_s / timing.warm_s
        row = f"{timing.warm_s:>9.2f}{timing.first_s:>9.2f}{speed:>9.0f}{to_floor:>10}{to_libraries:>11}"
        print(f"  {name:<14}{row}{timing.peak_mb:>9.0f}")
    print("  CPU s: warm; first: the first call; x decode: over the bare decode's; libs / it: the libraries' over this")


def _print_cold_inspect(path: Path, duration_s: float) -> None:
    command = [sys.executable, "-m", "analysis", "inspect", "--json", str(path)]
    if hasattr(os, "sched_setaffinity"):
        command = [sys.executable, "-c", ON_ONE_CORE, *command]
    before = os.times()
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    if done.returncode:
        print(f"  inspect: did not run ({(done.stderr.strip().splitlines() or ['no word'])[-1]})")
        return
    after = os.times()
    cold_s = after.children_user + after.children_system - before.children_user - before.children_system
    wall_s = after.elapsed - before.elapsed
    print(f"  python -m analysis inspect, cold: {cold_s:.2f} CPU s, {duration_s / cold_s:.0f} x real time")
    print(f"  ({wall_s:.2f} s on the clock, with whatever else this machine was doing)")
