"""What the check of a delivery says of damaged sets and of good ones: found or not, figure said, true figure.

`python -m bench delivery [--held-out | --seed N] [--times N] [--sets N] [--from-set N] [--only "WORDS|OTHER WORDS"]
[--font FONT.sf2]`; with `--times 0` the good sets alone.

A damage is found when a check fails that speaks of it, and names a track at fault where there is one; a figure is right
within the truth's tolerance. A false alarm is any check that fails on a good set. `--coverage N`, `--feel N` and
`--cost` print what their modules say instead.
"""

from __future__ import annotations

import argparse
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace
from pathlib import Path
from unittest.mock import patch

from analysis.core.thresholds import Limits
from analysis.delivery import measured_set
from analysis.delivery.check_results import Check, VerifyReport
from analysis.delivery.measured_set import Song, Track
from analysis.delivery.verify import verify_set
from analysis.media.hashes import sha256_of_file
from bench.delivery.cost import print_cost
from bench.delivery.coverage import print_coverage
from bench.delivery.damages import DAMAGES, Case, cases_of
from bench.delivery.feel_table import print_feel
from bench.delivery.plans import HELD_OUT_SEED, clean_plans
from bench.delivery.takes import DrumSet, kept, write

# Of the good sets, one in so many comes with the bottom microphone turned over (D-24), and one without the mix as well.
_FLIPPED_EVERY, _WITHOUT_MIX_EVERY = 3, 4


@dataclass(frozen=True)
class Judged:
    """`right` is None where the truth has no figure."""

    case: Case
    found: bool
    right: bool | None
    said: str
    others: tuple[str, ...]


def run(options: argparse.Namespace) -> None:
    seed, folder = HELD_OUT_SEED if options.held_out else options.seed, options.data / "delivery"
    if options.coverage:
        print_coverage(options.coverage, seed)
    if options.feel:
        print_feel(options.feel, seed, folder, str(options.font or ""))
    if options.cost:
        print_cost(seed, folder)
    if not (options.coverage or options.feel or options.cost):
        print_table(options, seed, folder)


def print_table(options: argparse.Namespace, seed: int, folder: Path) -> None:
    print(f"\nDelivery: damaged drum multitracks, {'held out' if options.held_out else 'training'}")
    plans = [replace(plan, font=str(options.font or "")) for plan in clean_plans(seed + 500, options.sets)]
    judged: list[Judged] = []
    found: list[tuple[DrumSet, Check]] = []
    for number, plan in list(enumerate(plans))[options.from_set :]:
        print(f"  set {number}", flush=True)
        with measured_once():
            if not options.only:
                found += alarms(number, kept(plan, folder))
            for case in cases_of(number, plans, options.times, folder, only=options.only):
                judged.append(judge(case, checked(case.drum_set, with_mix=case.damage.with_mix)))
                print(_row(judged[-1]), flush=True)
        print(f"  so far {len(found)} false alarms; {_totals(judged)}", flush=True)
    print("  The table:")
    for row in sorted(judged, key=lambda one: DAMAGES.index(one.case.damage)):
        print(_row(row))
    for name, rows in (("aimed at", [row for row in judged if row.case.damage.aim]), ("all", judged)):
        print(f"  {name}: {_totals(rows)}")
    if not options.only:
        _print_alarms(found, options.sets - options.from_set)


@contextmanager
def measured_once() -> Iterator[None]:
    """A file with the same bytes and the same name is decoded and measured once: most damages leave most tracks."""
    known: dict[tuple[str, str, str], Track] = {}
    measure = measured_set._measure_track

    def measured(path: Path, limits: Limits, song: Song) -> Track:
        key = path.name, sha256_of_file(path), repr(song.tempo_map)
        if key not in known:
            known[key] = measure(path, limits, song)
        return replace(known[key], path=path)

    with patch.object(measured_set, "_measure_track", measured):
        yield


def checked(drum_set: DrumSet, *, with_mix: bool) -> VerifyReport:
    with tempfile.TemporaryDirectory(prefix="delivery-") as folder:
        files = write(drum_set, Path(folder))
        against = files.mix if with_mix else None
        return verify_set(files.tracks, map=drum_set.tempo_map, against=against, originals=[files.music])


def failed(report: VerifyReport) -> list[Check]:
    return [check for check in report.checks if not check.passed]


def judge(case: Case, report: VerifyReport) -> Judged:
    truth, wrong = case.truth, failed(report)
    mine = [check for check in wrong if check.code in truth.codes and _names(check, truth.files)]
    said = "; ".join(f"{check.code} {check.file or ''} {check.value}" for check in mine)
    if not said:
        unclear = any(check.undecided and check.code in truth.codes for check in report.checks)
        said = "cannot tell" if unclear else "nothing of it"
    others = tuple(sorted({f"{check.code} {check.file or ''}".strip() for check in wrong if check not in mine}))
    right = None
    if truth.figures:
        right = any(_is_right(check, truth.figures) for check in mine)
    return Judged(case, bool(mine), right, said[:70], others)


def _names(check: Check, files: tuple[str, ...]) -> bool:
    return not files or (check.file is not None and Path(check.file).stem in files)


def _is_right(check: Check, figures: dict[str, tuple[float, float]]) -> bool:
    if check.code not in figures or not isinstance(check.value, (int, float)):
        return False
    figure, tolerance = figures[check.code]
    return abs(check.value - figure) <= tolerance


def _row(judged: Judged) -> str:
    truth = judged.case.truth
    mark = {None: "-", True: "right", False: "WRONG"}[judged.right]
    due = truth.says or ", ".join(truth.files[:3])
    more = f"  also: {', '.join(judged.others[:4])}" if judged.others else ""
    found = "found" if judged.found else "MISSED"
    of = _set_name(judged.case.drum_set)
    return f"  {judged.case.damage.name:<48}{found:<8}{mark:<7}{judged.said:<70} | {due:<40} {of}{more}"


def _totals(rows: list[Judged]) -> str:
    figures = [row.right for row in rows if row.right is not None]
    found, right = sum(row.found for row in rows), sum(figures)
    alone = sum(row.found and not row.others for row in rows)
    return (
        f"found {found} of {len(rows)} ({found / max(1, len(rows)):.3f}), "
        f"figures right {right} of {len(figures)} ({right / max(1, len(figures)):.3f}), nothing else blamed in {alone}"
    )


def alarms(number: int, drum_set: DrumSet) -> Iterator[tuple[DrumSet, Check]]:
    """Each check that fails on a good set, with the accepted mix and, of some, without it."""
    if number % _FLIPPED_EVERY == 0 and "SnBot" in drum_set.tracks:
        drum_set = drum_set.with_tracks({"SnBot": -drum_set.tracks["SnBot"]})
    for with_mix in (True, False) if number % _WITHOUT_MIX_EVERY == 0 else (True,):
        for check in failed(checked(drum_set, with_mix=with_mix)):
            print(f"  FALSE ALARM {_set_name(drum_set)} {check.code}: {check.message}", flush=True)
            yield drum_set, check


def _print_alarms(found: list[tuple[DrumSet, Check]], sets: int) -> None:
    print(f"  false alarms on {sets} good sets, every fourth without the mix too: {len(found)}")
    for drum_set, check in found:
        print(f"    {_set_name(drum_set)} {check.code}: {check.message}")


def _set_name(drum_set: DrumSet) -> str:
    plan = drum_set.plan
    return f"{plan.player.name}/{plan.pattern}/{plan.kit}/{plan.seed}"
