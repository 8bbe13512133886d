"""A long run over files with broken headers: how each ended.

Mutants are surveyed in a process for each container, with the limits of a measuring child. One that kills the process
is counted, and the next process goes on behind it.
"""

from __future__ import annotations

import argparse
import signal
import subprocess
import sys
import tempfile
import time
import warnings
from collections import Counter
from itertools import islice
from pathlib import Path

from analysis.measuring.survey import survey_file
from analysis.sandbox.child_jobs import limit_self
from tests.analysis.mutants import CONTAINERS, assert_is_an_answer, mutants, whole_file

TIME_LIMIT_S = 60
MEMORY_LIMIT_BYTES = 3 * 2**30
ENDS = ("measured", "refused", "crashed", "timed out")


def run(options: argparse.Namespace) -> None:
    print(f"\nFuzz: {options.mutants} files of each container with changed headers, {TIME_LIMIT_S} s each at most")
    total: Counter[str] = Counter()
    for container in CONTAINERS:
        ends, slowest_ms = run_container(container, options.seed, options.mutants)
        total += ends
        counts = ", ".join(f"{ends[end]} {end}" for end in ENDS)
        print(f"  {container:>5}: {counts}; slowest {slowest_ms} ms", flush=True)
    print(f"  {total.total()} tried: " + ", ".join(f"{total[end]} {end}" for end in ENDS))


def survey_mutants(container: str, seed: int, start: int, each: int) -> None:
    """One line for each: how it ended, and the milliseconds that it took."""
    warnings.simplefilter("ignore")
    with tempfile.TemporaryDirectory() as folder:
        content = whole_file(Path(folder), container)
        limit_self(memory_limit_bytes=MEMORY_LIMIT_BYTES, time_limit_s=each * TIME_LIMIT_S)
        path = Path(folder) / "mutant.wav"
        for mutant in islice(mutants(content, seed), start, each):
            path.write_bytes(mutant)
            signal.alarm(TIME_LIMIT_S)
            began = time.monotonic()
            report = survey_file(path).report
            assert_is_an_answer(report)
            print(
                "refused" if report.frames is None else "measured", round(1000 * (time.monotonic() - began)), flush=True
            )


def run_container(container: str, seed: int, each: int) -> tuple[Counter[str], int]:
    """How often each end came about, and the slowest of those that ended well, in milliseconds."""
    ends: Counter[str] = Counter()
    slowest_ms = 0
    while (start := ends.total()) < each:
        command = [sys.executable, "-m", "bench.files.fuzz", container, str(seed), str(start), str(each)]
        done = subprocess.run(command, capture_output=True, text=True, check=False)
        for line in done.stdout.splitlines():
            end, taken_ms = line.split()
            ends[end] += 1
            slowest_ms = max(slowest_ms, int(taken_ms))
        if done.returncode:
            ends["timed out" if done.returncode == -signal.SIGALRM else "crashed"] += 1
            print(f"  {container}, seed {seed}, number {ends.total() - 1}: {done.stderr.strip()[-300:]}")
    return ends, slowest_ms


if __name__ == "__main__":
    survey_mutants(sys.argv[1], *(int(number) for number in sys.argv[2:5]))
