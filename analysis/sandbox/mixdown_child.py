"""The sum of a song's files, made in a child: strangers' files, all opened at once."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from analysis.levels.mixdown import Mixdown
from analysis.sandbox.child import record_of, run_in_child
from analysis.sandbox.child_jobs import MixdownJob


def write_mixdown_in_child(paths: Sequence[Path], to: Path, *, sample_rate_hz: int) -> Mixdown | str:
    """What was written, else why nothing was: the end of "A file ..."."""
    job = MixdownJob([str(path.resolve()) for path in paths], str(to.resolve()), sample_rate_hz)
    answer, trouble = run_in_child(job)
    return (record_of(Mixdown, answer) if answer is not None else None) or trouble
