"""Big jobs: the memory that a file of hours takes, and whether a song's stems use every core."""

from __future__ import annotations

import argparse
import os
import shutil
import tempfile
import time
from concurrent.futures import ThreadPoolExecutor
from fractions import Fraction
from pathlib import Path

from analysis.band.render import render_stems, write_wav
from analysis.band.score import steady, write_score
from analysis.child import survey_in_child
from bench.speed import MOST_DECODES, MOST_MB, print_wanted, timed, timed_file

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
        one_s, all_s = _clock_s(paths, cores[:1]), _clock_s(paths, cores)
    print(f"  on one core {one_s:.1f} s, on {len(cores)} cores {all_s:.1f} s (on the clock, beside whatever else runs)")
    print_wanted("times faster on all cores", one_s / all_s, least=LEAST_GAIN_PER_CORE * len(cores))


def _clock_s(paths: list[Path], cores: list[int]) -> float:
    before = os.sched_getaffinity(0)
    os.sched_setaffinity(0, cores)
    try:
        start = time.monotonic()
        with ThreadPoolExecutor(len(cores)) as pool:
            list(pool.map(_survey, paths))
        return time.monotonic() - start
    finally:
        os.sched_setaffinity(0, before)


def _survey(path: Path) -> None:
    survey_in_child(path, name=path.name, features_to=path.with_suffix(".npz"))
