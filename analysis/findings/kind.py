"""What a kind of finding consists of. Every kind is held to it in `tests/analysis/findings/test_catalogue.py`.

Sentences hold `{names}` of the finding's `value`; their unit suffixes say how they are written out (see sentences.py).
`{file}` and `{place}` are always there.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum


class Severity(StrEnum):
    STOP = "stop"  # cannot track on this
    ASK = "ask"  # the client must say
    NOTE = "note"  # good to know


@dataclass(frozen=True)
class FindingKind:
    """`may_send`: a message about it may go out by itself, without the drummer looking first."""

    code: str
    severity: Severity
    title: str
    client_sentence: str
    drummer_sentence: str
    what_to_do: str
    may_send: bool = False
