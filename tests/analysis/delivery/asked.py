"""Asks one question of a set that lies on disk."""

from collections.abc import Callable, Iterable
from pathlib import Path

from analysis.core.samples import Samples
from analysis.core.thresholds import Limits
from analysis.delivery.check_results import Check
from analysis.delivery.measured_set import MeasuredSet, Song, measure_set
from tests.analysis.delivery.made_kit import write_kit

Question = Callable[[MeasuredSet], Iterable[Check]]


def ask(question: Question, folder: Path, tracks: dict[str, Samples], song: Song | None = None) -> list[Check]:
    return list(question(measure_set(write_kit(folder / "set", tracks), song or Song(), Limits())))


def failed(checks: list[Check]) -> list[tuple[str, str | None]]:
    return [(check.code, check.file) for check in checks if not check.passed]
