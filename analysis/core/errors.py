"""What can go wrong while measuring.

AnalysisError
├── UnusableFileError        the file's own fault: becomes a finding, never an outage
│   ├── NotAudioError        something else than sound
│   └── UnreadableError      says it is sound, but cannot be decoded
├── BriefError               a brief that nobody can have meant
├── SongNotMeasuredError     a song that could not even be measured from our own stored features
├── FeelError                a take that cannot be held against a tempo map
├── RepairError              a set that cannot be repaired without a change to its sound
├── ChartError               a chart document that is none, or that cannot be engraved
└── MapError                 a tempo map that is missing or contradicts itself
"""

from __future__ import annotations


class AnalysisError(Exception):
    """Anything this package raises on purpose."""


class UnusableFileError(AnalysisError):
    """A file that cannot be measured. `reason` finishes the sentence "This file ...", `code` names the finding."""

    code = "unreadable"

    def __init__(self, reason: str) -> None:
        super().__init__(reason)
        self.reason = reason


class NotAudioError(UnusableFileError):
    """`is_called` names what it is instead ("a PDF document")."""

    code = "not-audio"

    def __init__(self, reason: str, is_called: str | None = None) -> None:
        super().__init__(reason)
        self.is_called = is_called


class UnreadableError(UnusableFileError):
    code = "unreadable"


class BriefError(AnalysisError):
    """A tempo of 0, a meter of 5/0, a word that is no number."""


class SongNotMeasuredError(AnalysisError):
    """A fault of ours, or of the machine: no file of a client's is read on the way that ends here."""


class FeelError(AnalysisError):
    """A take without sound, or with next to nothing to measure."""


class RepairError(AnalysisError):
    """A repair that would change what sounds, or write over what is there."""


class ChartError(AnalysisError):
    """A chart that is not one; the sentence names the place in it."""


class MapError(AnalysisError):
    """There is no tempo map where one is needed, or it makes no sense."""
