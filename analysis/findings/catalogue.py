"""Every kind of finding: its code (permanent), how grave it is, what client and drummer read, and what to do."""

from __future__ import annotations

from typing import Any

from analysis.core.reports import Finding, Place
from analysis.core.sentences import fill
from analysis.findings.kind import FindingKind, Severity
from analysis.findings.kinds_in_files import FILE_KINDS
from analysis.findings.kinds_in_songs import BETWEEN_KINDS, SONG_KINDS

__all__ = [
    "FINDING_KINDS",
    "KINDS_BY_GROUP",
    "KIND_BY_CODE",
    "FindingKind",
    "Severity",
    "client_message",
    "make_finding",
]

KINDS_BY_GROUP = {"In one file": FILE_KINDS, "Between the files": BETWEEN_KINDS, "In the song": SONG_KINDS}
FINDING_KINDS = tuple(kind for kinds in KINDS_BY_GROUP.values() for kind in kinds)
_NOWHERE = Place()
KIND_BY_CODE = {kind.code: kind for kind in FINDING_KINDS}


def make_finding(
    code: str,
    *,
    file: str | None = None,
    place: Place = _NOWHERE,
    severity: Severity | None = None,
    value: dict[str, Any] | None = None,
) -> Finding:
    """A finding with its drummer's sentence filled in. `severity` where this case is graver or milder than its kind."""
    kind = KIND_BY_CODE[code]
    value = value or {}
    message = fill(kind.drummer_sentence, file=file, place=place, value=value)
    return Finding(code, (severity or kind.severity).value, file, place, value, message)


def client_message(finding: Finding) -> str:
    """The same finding as its client reads it."""
    sentence = KIND_BY_CODE[finding.code].client_sentence
    return fill(sentence, file=finding.file, place=finding.place, value=finding.value)
