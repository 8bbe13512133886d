"""What decoding hostile files opens, by a trace of system calls: broken headers and crafted files, in a closed child.

Every path that is opened, or asked to be, is counted by where it lies; so is every socket, process and program. Needs
strace. The trace is read from the moment at which the child has closed itself in.
"""

from __future__ import annotations

import argparse
import re
import subprocess
import sys
import sysconfig
import tempfile
import warnings
from collections import Counter
from collections.abc import Iterable, Iterator
from itertools import islice
from pathlib import Path

from analysis.measuring.survey import survey_file
from analysis.sandbox.child_jobs import limit_self
from analysis.sandbox.confinement import confine_self
from analysis.sandbox.starting import PACKAGE_PARENT
from tests.analysis.media.test_hostile_formats import CRAFTED
from tests.analysis.mutants import CONTAINERS, assert_is_an_answer, mutants, whole_file
from tests.analysis.test_fuzz import liars

TIME_LIMIT_S = 1_200
MEMORY_LIMIT_BYTES = 3 * 2**30
CRAFTED_SET = "crafted"
MUTANT_NAME = "mutant.wav"
CALLS = "trace=open,openat,openat2,%network,fork,vfork,clone,clone3,execve,execveat,kill,tkill,ptrace"
CLOSED_IN = "PR_SET_SECCOMP"
CALL = re.compile(r"^\d+ +(?P<name>\w+)\((?:AT_FDCWD, )?(?:\"(?P<path>[^\"]*)\")?(?P<rest>.*) = (?P<answer>-?\d+)")
LIBRARIES = (
    *(str(PACKAGE_PARENT / "analysis"), "/lib/", "/lib64/", "/usr/lib/", "/usr/lib64/", "/etc/ld.so.cache"),
    *(sysconfig.get_path(name) for name in ("stdlib", "platstdlib", "purelib", "platlib")),
)


def run(options: argparse.Namespace) -> None:
    print(f"\nTrace: {options.mutants} files of each container with changed headers, and crafted ones: what was opened")
    total: Counter[str] = Counter()
    for name in (*CONTAINERS, CRAFTED_SET):
        counts = traced(name, options.seed, options.mutants)
        total += counts
        print(f"  {name:>7}: {in_words(counts)}", flush=True)
    print(f"  in all: {in_words(total)}")


def in_words(counts: Counter[str]) -> str:
    return ", ".join(f"{count} {what}" for what, count in sorted(counts.items()))


def traced(name: str, seed: int, each: int) -> Counter[str]:
    """How many files were surveyed, and how often each kind of call succeeded or was refused."""
    with tempfile.TemporaryDirectory() as folder:
        log = Path(folder, "log")
        command = [sys.executable, "-m", "bench.files.trace", name, str(seed), str(each), folder]
        strace = [
            "strace",
            "--follow-forks",
            "--quiet=all",
            "--string-limit=200",
            "-e",
            f"{CALLS},prctl",
            "-o",
            str(log),
        ]
        done = subprocess.run([*strace, *command], capture_output=True, text=True, check=False)
        counts = Counter({"files": len(done.stdout.split())})
        if done.returncode:
            counts["ended early"] += 1
        counts.update(kinds(log.read_text("utf-8", "replace").splitlines(), own=str(Path(folder, MUTANT_NAME))))
    return counts


def kinds(lines: Iterable[str], *, own: str) -> Iterator[str]:
    is_closed_in = False
    for line in lines:
        is_closed_in = is_closed_in or CLOSED_IN in line
        found = CALL.match(line)
        if not is_closed_in or not found or found["name"] == "prctl":
            continue
        answered = "opened" if int(found["answer"]) >= 0 else "not opened"
        if found["name"].startswith("open"):
            yield f"{place_of(found['path'], own)} {answered}"
        elif not (found["name"].startswith("clone") and "CLONE_THREAD" in found["rest"]):
            yield f"{found['name']} {'done' if int(found['answer']) >= 0 else 'refused'}"


def place_of(path: str, own: str) -> str:
    if path == own:
        return "times its own file"
    if path.startswith(LIBRARIES) or path == str(PACKAGE_PARENT):
        return "times a library"
    return f"times {path}"


def contents(name: str, folder: Path, seed: int, each: int) -> Iterator[bytes]:
    if name == CRAFTED_SET:
        return iter((*CRAFTED.values(), *liars().values()))
    return islice(mutants(whole_file(folder, name), seed), each)


def survey_closed_in(name: str, seed: int, each: int, folder: Path) -> None:
    """One word for each file. The child writes the mutants over one another, and may touch no other file."""
    warnings.simplefilter("ignore")
    path = folder / MUTANT_NAME
    listed = list(contents(name, folder, seed, each))
    path.touch()
    limit_self(memory_limit_bytes=MEMORY_LIMIT_BYTES, time_limit_s=TIME_LIMIT_S)
    confine_self(read=[path], write=[path])
    for content in listed:
        path.write_bytes(content)
        report = survey_file(path).report
        assert_is_an_answer(report)
        print("refused" if report.frames is None else "measured", flush=True)


if __name__ == "__main__":
    survey_closed_in(sys.argv[1], int(sys.argv[2]), int(sys.argv[3]), Path(sys.argv[4]))
