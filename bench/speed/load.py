"""Big jobs: the memory that a file of hours takes, and whether a song's stems use every core."""

from __future__ import annotations

import argparse
import os
import shutil
import tempfile
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path

from analysis.band.render import render_stems, write_wav
from analysis.band.score import steady, write_score
from analysis.core.reports import FileReport
from analysis.sandbox.child import LINE, survey_in_child
from bench.speed.engine import MOST_DECODES, MOST_MB, print_wanted, timed, timed_file

LONG_RATE_HZ = 96_000
BYTES_A_FRAME = 6
DOUBLES_A_FRAME_BYTES = 16
PLAYERS = ("bass", "keys", "strings", "pad", "lead", "drums")
STEM_BARS, STEM_RATE_HZ = 56, 48_000
# Two cores that share a cache and a memory bus do not give two cores' work.
LEAST_GAIN_PER_CORE = 0.75


def run(options: argparse.Namespace) -> None:
    if options.long_minutes:
        _long_file(options.data, options.long_minutes)
    _stems()


def _long_file(folder: Path, minutes: float) -> None:
    """Made for this and removed: three hours at 96 kHz are 6.2 GB."""
    frames = round(minutes * 60 * LONG_RATE_HZ)
    print(f"\nMemory: one file of {minutes:g} min, {LONG_RATE_HZ / 1000:g} kHz, 24 bits, stereo")
    if shutil.disk_usage(folder).free < 2 * frames * BYTES_A_FRAME:
        print("  not run: the disk is too full for it")
        return
    path = timed_file(folder, minutes, LONG_RATE_HZ)
    try:
        decode, survey = (timed(name, path, repeats=0) for name in ("bare_decode", "survey"))
    finally:
        path.unlink()
    if decode is None or survey is None:
        return
    print(
        f"  bare decode {decode.warm_s:.1f} CPU s, {decode.peak_mb:.0f} MB; one file's checks {survey.warm_s:.1f} CPU s"
    )
    print_wanted("times a bare decode", survey.warm_s / decode.warm_s, most=MOST_DECODES)
    print_wanted("MB at most in memory", survey.peak_mb, most=MOST_MB)
    samples_gb = frames * DOUBLES_A_FRAME_BYTES / 1e9
    print(f"  libraries: not run, they load whole files; the samples alone would take {samples_gb:.1f} GB")


def _stems() -> None:
    """Twelve stems of a song, each measured in a child of its own as workers do it: on one core, then on all."""
    plan = steady("Load", 1, Fraction(112), form=(("verse", STEM_BARS),), players=PLAYERS, ring_out_s=1.0)
    with tempfile.TemporaryDirectory(prefix="load-") as name:
        folder = Path(name)
        sounds = render_stems(write_score(plan), STEM_RATE_HZ)
        paths = [
            write_wav(folder / f"{player}-{take}.wav", sound, STEM_RATE_HZ)
            for player, sound in sounds.items()
            for take in (1, 2)
        ]
        cores = sorted(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else []
        print(f"\nCores: {len(paths)} stems of {STEM_BARS * 4 * 60 / 112:.0f} s, each in a child of its own")
        if len(cores) < 2:
            print(f"  not run: {len(cores)} cores can be told apart here")
            return
        one, every = _measured(paths, cores[:1]), _measured(paths, cores)
    for count, taken in ((1, one), (len(cores), every)):
        print(f"  children at a time: {count}; {taken.clock_s:.1f} s on the clock, {taken.cpu_s:.1f} CPU s")
    gain = len(cores) * one.cpu_s / every.cpu_s
    print_wanted("times faster on all cores, by CPU seconds", gain, least=LEAST_GAIN_PER_CORE * len(cores))
    print_wanted("times faster on the clock", one.clock_s / every.clock_s, least=LEAST_GAIN_PER_CORE * len(cores))
    print(f"  (the clock says little beside other work; this machine's load is {os.getloadavg()[0]:.1f})")


@dataclass(frozen=True)
class Taken:
    clock_s: float
    cpu_s: float


def _measured(paths: list[Path], cores: list[int]) -> Taken:
    """As many children at a time as there are cores."""
    LINE.close()
    before, allowed = os.times(), os.sched_getaffinity(0)
    os.sched_setaffinity(0, cores)
    try:
        with ThreadPoolExecutor(len(cores)) as pool:
            reports = list(pool.map(_survey, paths))
    finally:
        LINE.close()  # its children's time counts once it has ended
        os.sched_setaffinity(0, allowed)
    if any(report.frames is None for report in reports):
        raise RuntimeError("a stem could not be measured")
    after = os.times()
    cpu_s = after.children_user + after.children_system - before.children_user - before.children_system
    return Taken(after.elapsed - before.elapsed, cpu_s)


def _survey(path: Path) -> FileReport:
    return survey_in_child(path, name=path.name, features_to=path.with_suffix(".npz"))
