"""What the check of a delivery says of damaged sets and of good ones: found or not, figure said, true figure.

`python -m bench delivery [--held-out] [--times N] [--only WORDS] [--sets N]`. A damage is found when a check fails that
speaks of it, and names a track at fault where there is one; a figure is right within the truth's tolerance.
A false alarm is any check that fails on a good set.
"""

from __future__ import annotations

import argparse
import tempfile
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from analysis.delivery.check_results import Check, VerifyReport
from analysis.delivery.verify import verify_set
from bench.delivery.damages import Case, cases
from bench.delivery.plans import HELD_OUT_SEED, TRAINING_SEED, clean_plans
from bench.delivery.takes import DrumSet, kept, write

_FLIPPED_EVERY = 3  # of the good sets, one in so many comes with the bottom microphone turned over (D-24)


@dataclass(frozen=True)
class Judged:
    """`right` is None where the truth has no figure."""

    case: Case
    found: bool
    right: bool | None
    said: str
    others: tuple[str, ...]


def run(options: argparse.Namespace) -> None:
    seed = HELD_OUT_SEED if options.held_out else TRAINING_SEED
    print(f"\nDelivery: damaged drum multitracks, {'held out' if options.held_out else 'training'}")
    judged = []
    for case in cases(seed, options.times, options.data / "delivery", only=options.only):
        judged.append(judge(case, checked(case.drum_set, with_mix=case.damage.with_mix)))
        print(_row(judged[-1]), flush=True)
    for name, rows in (("aimed at", [row for row in judged if row.case.damage.aim]), ("all", judged)):
        print(f"  {name}: {_totals(rows)}")
    if options.sets:
        _print_alarms(list(alarms(seed, options.sets, options.data / "delivery")), options.sets)


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
    said = "; ".join(f"{check.code} {check.file or ''} {check.value}" for check in mine) or "nothing of it"
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
    plan = judged.case.drum_set.plan
    set_name = f"{plan.player.name}/{plan.pattern}/{plan.kit}/{plan.seed}"
    return f"  {judged.case.damage.name:<48}{found:<8}{mark:<7}{judged.said:<70} | {due:<40} {set_name}{more}"


def _totals(rows: list[Judged]) -> str:
    figures = [row.right for row in rows if row.right is not None]
    found, right = sum(row.found for row in rows), sum(figures)
    alone = sum(row.found and not row.others for row in rows)
    return (
        f"found {found} of {len(rows)} ({found / max(1, len(rows)):.3f}), "
        f"figures right {right} of {len(figures)} ({right / max(1, len(figures)):.3f}), nothing else blamed in {alone}"
    )


def alarms(seed: int, count: int, folder: Path) -> Iterator[tuple[DrumSet, Check]]:
    """Each check that fails on a good set."""
    for number, plan in enumerate(clean_plans(seed + 500, count)):
        drum_set = kept(plan, folder)
        if number % _FLIPPED_EVERY == 0 and "SnBot" in drum_set.tracks:
            drum_set = drum_set.with_tracks({"SnBot": -drum_set.tracks["SnBot"]})
        for with_mix in (True, False):
            for check in failed(checked(drum_set, with_mix=with_mix)):
                yield drum_set, check


def _print_alarms(found: list[tuple[DrumSet, Check]], sets: int) -> None:
    print(f"  false alarms on {sets} good sets, each with and without the mix: {len(found)}")
    for drum_set, check in found:
        plan = drum_set.plan
        print(f"    {plan.player.name}/{plan.pattern}/{plan.kit}/{plan.seed} {check.code}: {check.message}")
