"""What the house does about a finding that needs the client: what the drummer chose, else what the kind suggests."""

from __future__ import annotations

import re

from analysis.findings import FINDING_KINDS, FindingKind, Severity
from portal.mailroom.models import MessageRule

When = MessageRule.When
VALUE = re.compile(r"\{([^}]*)\}")


def suggested(kind: FindingKind) -> MessageRule.When:
    """A question goes out by itself when its words can stand alone; what is only good to know is never sent."""
    if kind.severity == Severity.NOTE:
        return When.NEVER
    return When.AT_ONCE if kind.may_send else When.HOLD


def sample_sentence(kind: FindingKind) -> str:
    """The client's sentence before anything is measured: names in brackets stand where figures and places will."""
    sentence = VALUE.sub(
        lambda value: f"[{value[1].replace('_', ' ')}]", kind.client_sentence.replace("{file}", "the file")
    )
    return sentence[:1].upper() + sentence[1:]


def rules_in_force() -> dict[str, MessageRule.When]:
    chosen = dict(MessageRule.objects.values_list("code", "when"))
    return {kind.code: When(chosen.get(kind.code, suggested(kind))) for kind in FINDING_KINDS}
