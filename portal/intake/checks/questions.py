"""The one message that a check sends: what we found, what we need, and answers that take one tap.

A finding is asked about once. What the house holds back waits as one held message beside it; what no longer holds is
withdrawn.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Sequence

from django.db.models import QuerySet

from analysis.core import Finding as Found
from analysis.core import Place
from analysis.findings import KIND_BY_CODE, Severity, client_message
from portal.bookings.models import Song
from portal.intake.checks.answers import NEW_FILE, offers_for
from portal.intake.models import Finding
from portal.mailroom import services as mailroom
from portal.mailroom.message_rules import rules_in_force
from portal.mailroom.models import Message, MessageRule

KEY_PREFIX = "check:"
When = MessageRule.When


def ask(song: Song) -> None:
    """Send what goes out by itself, hold what the house wants to see first. Asked again, nothing happens."""
    rules = rules_in_force()
    new = [finding for finding in asking(song) if finding.asked_in_id is None]
    for when in (When.AT_ONCE, When.HOLD):
        group = [finding for finding in new if rules.get(finding.code, When.HOLD) == when]
        if group:
            post(song, group, held=when == When.HOLD)


def asking(song: Song) -> list[Finding]:
    """Open findings that the client has to say something about."""
    return gravest_first(song.findings.open().exclude(severity=Finding.Severity.NOTE).select_related("source"))


def gravest_first(findings: Iterable[Finding]) -> list[Finding]:
    return sorted(findings, key=lambda finding: (list(Severity).index(Severity(finding.severity)), finding.pk))


def post(song: Song, findings: Sequence[Finding], *, held: bool) -> None:
    message = mailroom.post(
        booking=song.booking,
        song=song,
        key=key_for(song, findings),
        subject=subject_for(song, findings),
        body=body_for(song, findings),
        answers=[offer.to_json() for offer in offers_for(song, findings)],
        held=held,
    )
    for finding in findings:
        finding.ask_in(message)


def key_for(song: Song, findings: Iterable[Finding]) -> str:
    """Findings are rows that are opened once, so the same rows are the same question."""
    rows = ",".join(str(pk) for pk in sorted(finding.pk for finding in findings))
    return f"{KEY_PREFIX}{song.pk}:{hashlib.sha256(rows.encode()).hexdigest()[:32]}"


def subject_for(song: Song, findings: Sequence[Finding]) -> str:
    if len(findings) == 1:
        return f"{song.title}: {KIND_BY_CODE[findings[0].code].title.lower()}"
    return f"{song.title}: {len(findings)} open questions"


def body_for(song: Song, findings: Sequence[Finding]) -> str:
    sentences = [in_client_words(finding) for finding in findings]
    if len(sentences) > 1:
        sentences = [f"{number}. {sentence}" for number, sentence in enumerate(sentences, start=1)]
    return "\n\n".join([f"We checked the files of “{song.title}”.", *sentences])


def in_client_words(finding: Finding) -> str:
    return client_message(as_found(finding))


def as_found(finding: Finding) -> Found:
    """The engine's form of a stored finding, with the file named as its sender named it."""
    return Found(
        code=finding.code,
        severity=finding.severity,  # type: ignore[arg-type]  # the column holds the same three words
        file=finding.source.name if finding.source else None,
        place=Place.from_json(finding.place),
        value=finding.value,
    )


def waits_for_client(song: Song) -> bool:
    """A question of ours is unanswered, or was answered with the promise of a file that has not come."""
    return is_unanswered(song) or is_file_promised(song)


def is_unanswered(song: Song) -> bool:
    return song.messages.filter(key__startswith=KEY_PREFIX, state=Message.State.SENT).exists()


def is_held(song: Song) -> bool:
    return song.messages.filter(key__startswith=KEY_PREFIX, state=Message.State.HELD).exists()


def is_file_promised(song: Song) -> bool:
    asked = song.messages.filter(key__startswith=KEY_PREFIX)
    promised = asked.filter(state=Message.State.ANSWERED, answer__code=NEW_FILE).order_by("-answered_at").first()
    if promised is None or not song.findings.open().filter(asked_in=promised).exists():
        return False
    return not song.sources.filter(received_at__gt=promised.answered_at).exists()


def withdraw_moot(song: Song) -> None:
    """Take back a message when nothing that it asks about is open any more."""
    still_open = song.findings.open().exclude(asked_in=None).values("asked_in")
    for message in unanswered(song).exclude(pk__in=still_open):
        mailroom.withdraw(message=message)


def withdraw_all(song: Song) -> None:
    """The drummer goes on without the answers."""
    for message in unanswered(song):
        mailroom.withdraw(message=message)


def unanswered(song: Song) -> QuerySet[Message]:
    return song.messages.filter(key__startswith=KEY_PREFIX, state__in=(Message.State.SENT, Message.State.HELD))
