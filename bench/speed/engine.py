"""Time and memory of the engine beside a bare decode and beside general libraries, on the same file in the same run."""

from __future__ import annotations

import argparse
import json
import math
import subprocess
import sys
import time
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path

import soundfile

from analysis.band.render import Stem, mix_stems, render_stems
from analysis.band.score import steady, write_score
from bench.speed.jobs import JOBS

DECODE, LIBROSA = "bare decode", "librosa: tempo alone"
TITLES = {
    "bare_decode": DECODE,
    "survey": "Kitpost: one file's checks",
    "song": "Kitpost: checks and tempo",
    "librosa_tempo": LIBROSA,
    "libraries": "libraries: the same checks",
}
WHOLE_FILE_JOBS = ("librosa_tempo", "libraries")
HEADINGS = f"{'x real':>9}{'x decode':>10}{'librosa /':>11}{'peak MB':>9}"
SONG_MINUTES = 5.0
LONG_MINUTES = 20.0  # beyond this each job runs once, and not the libraries', which load whole files
REPEATS = 3
BARS_A_MINUTE = 28  # 4/4 at 112
# What the checks of one file are held to.
MOST_DECODES, LEAST_LIBRARIES, MOST_COLD_START_S, MOST_MB = 10.0, 3.0, 1.0, 250.0
# A small process between: what a program's memory is said to be starts at that of the process that started it.
LAUNCHER = """
import json, os, subprocess, sys, time
if hasattr(os, "sched_setaffinity"):
    os.sched_setaffinity(0, sorted(os.sched_getaffinity(0))[:1])
start = time.monotonic()
process = subprocess.Popen(sys.argv[1:], stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
_, status, usage = os.wait4(process.pid, 0)
taken = {"cpu_s": usage.ru_utime + usage.ru_stime, "clock_s": time.monotonic() - start}
print(json.dumps(taken | {"peak_mb": usage.ru_maxrss / 1024, "exit_code": os.waitstatus_to_exitcode(status)}))
"""


@dataclass(frozen=True)
class Timing:
    first_s: float
    warm_s: float
    peak_mb: float


def run(options: argparse.Namespace) -> None:
    duration_s = options.minutes * 60
    path = timed_file(options.data, options.minutes, options.rate)
    about = f"{options.minutes:g} min, {options.rate / 1000:g} kHz, 24 bits, stereo"
    print(f"\nSpeed: one file of {about}; one core, one thread; all in this run")
    is_long = options.minutes > LONG_MINUTES
    names = [name for name in JOBS if name not in WHOLE_FILE_JOBS or not is_long]
    timings = {name: timed(name, path, repeats=0 if is_long else REPEATS) for name in names}
    _print_table(timings, duration_s)
    _print_wanted(timings)
    _print_cold(path, duration_s, is_long=is_long)


def timed_file(folder: Path, minutes: float, rate: int) -> Path:
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


def timed(name: str, path: Path, *, repeats: int) -> Timing | None:
    command = [sys.executable, "-W", "ignore", "-m", "bench.speed.jobs", name, str(path), str(repeats)]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    if done.returncode:
        print(f"  {name}: did not run ({(done.stderr.strip().splitlines() or ['no word'])[-1]})")
        return None
    return Timing(**json.loads(done.stdout))


def _print_table(timings: dict[str, Timing | None], duration_s: float) -> None:
    print(f"\n  Warm, start-up not counted{'CPU s':>8}{'first':>9}{HEADINGS}")
    ran = {TITLES[name]: timing for name, timing in timings.items() if timing}
    seconds = {title: timing.warm_s for title, timing in ran.items()}
    for title, timing in ran.items():
        cells = _ratios(title, seconds, duration_s)
        print(f"  {title:<26}{timing.warm_s:>8.2f}{timing.first_s:>9.2f}{cells}{timing.peak_mb:>9.0f}")
    print("  first: the first call, when some libraries compile; x decode: this over the bare decode;")
    print("  librosa /: librosa over this, so more is faster than librosa")


def _print_wanted(timings: dict[str, Timing | None]) -> None:
    """The checks of one file against what is wanted of them."""
    survey, floor, libraries = (timings.get(name) for name in ("survey", "bare_decode", "libraries"))
    if survey is None or floor is None:
        return
    print("\n  One file's checks, measured and wanted:")
    print_wanted("times a bare decode", survey.warm_s / floor.warm_s, most=MOST_DECODES)
    if libraries is not None:
        print_wanted("times faster than libraries", libraries.warm_s / survey.warm_s, least=LEAST_LIBRARIES)
        print(f"    {'MB at most in libraries':<42}{libraries.peak_mb:>9.0f}")
    print_wanted("seconds that a first call takes longer", survey.first_s - survey.warm_s, most=MOST_COLD_START_S)
    print_wanted("MB at most in memory", survey.peak_mb, most=MOST_MB)


def print_wanted(what: str, value: float, *, most: float | None = None, least: float | None = None) -> None:
    is_met = (most is None or value <= most) and (least is None or value >= least)
    wanted = f"at most {most:g}" if most is not None else f"at least {least:g}"
    print(f"    {what:<42}{value:>9.4g}   {wanted}{'' if is_met else '   MISSED'}")


def _ratios(title: str, seconds: dict[str, float], duration_s: float) -> str:
    to_floor = f"{seconds[title] / seconds[DECODE]:.1f}" if DECODE in seconds else "-"
    to_librosa = f"{seconds[LIBROSA] / seconds[title]:.1f}" if LIBROSA in seconds else "-"
    return f"{duration_s / seconds[title]:>9.0f}{to_floor:>10}{to_librosa:>11}"


@dataclass(frozen=True)
class Cold:
    """A whole program from its start to its end, its children counted; the memory is the largest process's."""

    cpu_s: float
    clock_s: float
    peak_mb: float
    exit_code: int


def _print_cold(path: Path, duration_s: float, *, is_long: bool) -> None:
    job = [sys.executable, "-W", "ignore", "-m", "bench.speed.jobs"]
    commands = {
        DECODE: [*job, "bare_decode", str(path), "0"],
        "Kitpost: analysis inspect": [sys.executable, "-m", "analysis", "inspect", "--json", str(path)],
        LIBROSA: [*job, "librosa_tempo", str(path), "0"],
    }
    if is_long:
        del commands[LIBROSA]
    cold = {title: one for title, command in commands.items() if (one := _run_cold(title, command))}
    seconds = {title: one.cpu_s for title, one in cold.items()}
    print(f"\n  Cold, start-up counted     {'CPU s':>8}{'clock s':>9}{HEADINGS}")
    for title, one in cold.items():
        cells = _ratios(title, seconds, duration_s)
        print(f"  {title:<26}{one.cpu_s:>8.2f}{one.clock_s:>9.2f}{cells}{one.peak_mb:>9.0f}")
    print("  clock s: with whatever else this machine was doing; what librosa compiled earlier it finds on the disk")


def _run_cold(title: str, command: list[str]) -> Cold | None:
    launched = [sys.executable, "-c", LAUNCHER, *command]
    cold = Cold(**json.loads(subprocess.run(launched, capture_output=True, text=True, check=True).stdout))
    if cold.exit_code:
        print(f"  {title}: did not run (exit {cold.exit_code})")
        return None
    return cold
