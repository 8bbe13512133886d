"""Time and memory of the engine beside a bare decode and beside general libraries, on the same file in the same run."""

from __future__ import annotations

import argparse
import json
import os
import subprocess
import sys
import time
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path

from analysis.band.render import mix_stems, render_stems, write_wav
from analysis.band.score import steady, write_score
from bench.jobs import JOBS

SAMPLE_RATE_HZ = 48_000
BARS_A_MINUTE = 28  # 4/4 at 112
ONE_THREAD = dict.fromkeys(("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS", "NUMBA_NUM_THREADS"), "1")


@dataclass(frozen=True)
class Timing:
    first_s: float
    warm_s: float
    peak_mb: float


def run(options: argparse.Namespace) -> None:
    path, rendered_s = _timed_file(options.data, options.minutes)
    duration_s = options.minutes * 60
    print(f"\nSpeed: one file of {options.minutes:g} min, {SAMPLE_RATE_HZ // 1000} kHz, 24 bits, stereo; one core")
    if rendered_s:
        print(f"  (the band took {rendered_s:.1f} s to play and write it: {duration_s / rendered_s:.0f} x real time)")
    timings = {name: _timed(name, path) for name in JOBS}
    _print_table(timings, duration_s)
    _print_cold_inspect(path, duration_s)


def _timed_file(folder: Path, minutes: float) -> tuple[Path, float]:
    path = folder / f"speed-{minutes:g}min.wav"
    if path.exists():
        return path, 0.0
    start = time.perf_counter()
    bars = round(minutes * BARS_A_MINUTE)
    plan = steady(
        "Speed", 1, Fraction(112), form=(("verse", bars // 2), ("chorus", bars - bars // 2)), ring_out_s=0.0,
        players=("bass", "keys", "strings", "pad", "lead", "drums"),
    )  # fmt: skip
    write_wav(path, mix_stems(render_stems(write_score(plan), SAMPLE_RATE_HZ)), SAMPLE_RATE_HZ)
    return path, time.perf_counter() - start


def _timed(name: str, path: Path) -> Timing | None:
    command = [sys.executable, "-W", "ignore", "-m", "bench.jobs", name, str(path)]
    done = subprocess.run(command, capture_output=True, text=True, env=os.environ | ONE_THREAD, check=False)
    if done.returncode:
        print(f"  {name}: did not run ({(done.stderr.strip().splitlines() or ['no word'])[-1]})")
        return None
    return Timing(**json.loads(done.stdout))


def _print_table(timings: dict[str, Timing | None], duration_s: float) -> None:
    print(f"  {'job':<14}{'warm s':>9}{'first s':>9}{'x real':>9}{'x decode':>10}{'libs / it':>11}{'peak MB':>9}")
    floor, libraries = timings["bare_decode"], timings["libraries"]
    for name, timing in timings.items():
        if timing is None:
            continue
        to_floor = f"{timing.warm_s / floor.warm_s:.1f}" if floor else "-"
        to_libraries = f"{libraries.warm_s / timing.warm_s:.1f}" if libraries else "-"
        speed = duration_s / timing.warm_s
        row = f"{timing.warm_s:>9.2f}{timing.first_s:>9.2f}{speed:>9.0f}{to_floor:>10}{to_libraries:>11}"
        print(f"  {name:<14}{row}{timing.peak_mb:>9.0f}")
    print("  x decode: warm time over the bare decode's; libs / it: the libraries' warm time over this one's")


def _print_cold_inspect(path: Path, duration_s: float) -> None:
    start = time.perf_counter()
    command = [sys.executable, "-m", "analysis", "inspect", "--json", str(path)]
    if hasattr(os, "sched_setaffinity"):
        command = [sys.executable, "-c", _ON_ONE_CORE, *command]
    done = subprocess.run(command, capture_output=True, text=True, env=os.environ | ONE_THREAD, check=False)
    if done.returncode:
        print(f"  inspect: did not run ({(done.stderr.strip().splitlines() or ['no word'])[-1]})")
        return
    cold_s = time.perf_counter() - start
    print(f"  python -m analysis inspect, from a cold process: {cold_s:.2f} s, {duration_s / cold_s:.0f} x real time")


_ON_ONE_CORE = (
    "import os, sys; os.sched_setaffinity(0, sorted(os.sched_getaffinity(0))[:1]); os.execv(sys.argv[1], sys.argv[1:])"
)
