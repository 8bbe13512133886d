"""Each check's message that waits becomes part of its song's one message, a question for each thing that it asks about.
What was answered or withdrawn stays as it is; its findings keep what asked about them."""

from __future__ import annotations

from typing import Any

from django.db import migrations

KEY_PREFIX = "check:"
TEMPO_CODES = {"no-click", "no-tempo", "tempo-differs", "tempo-unsure", "wrong-rate-suspected"}
ABOUT = {code: "Tempo and click" for code in TEMPO_CODES} | {"meter-differs": "Meter", "bar-one-late": "Bar one"}
FILES = "Files"
SEVERITIES = ["stop", "ask", "note"]
OPEN_STATES = ("sent", "held")


def ask_in_one_message(apps: Any, schema_editor: Any) -> None:  # noqa: ARG001 - Django's
    Message = apps.get_model("mailroom", "Message")
    checks = Message.objects.filter(key__startswith=KEY_PREFIX).exclude(song=None)
    for message in checks.exclude(state__in=OPEN_STATES).order_by("pk"):
        keep_what_asked(apps, message)
    waiting: dict[int, list[Any]] = {}
    for message in checks.filter(state__in=OPEN_STATES).order_by("pk"):
        waiting.setdefault(message.song_id, []).append(message)
    for messages in waiting.values():
        join(apps, messages)


def findings_of(apps: Any, message: Any) -> list[Any]:
    """In the order in which the message names them."""
    found = apps.get_model("intake", "Finding").objects.filter(asked_in=message)
    return sorted(found, key=lambda finding: (SEVERITIES.index(finding.severity), finding.pk))


def keep_what_asked(apps: Any, message: Any) -> None:
    """A question of an old message: it is not shown, and keeps its findings from being asked about again."""
    Question = apps.get_model("mailroom", "Question")
    findings = findings_of(apps, message)
    if not findings:
        return
    is_answered = message.state == "answered" and message.answer is not None
    answered = {"answer": message.answer, "answered_by_id": message.answered_by_id, "answered_at": message.answered_at}
    question = Question.objects.create(
        message=message,
        topic=FILES,
        about=FILES,
        text=message.body,
        offers=[without_about(offer) for offer in message.answers],
        state="sent" if is_answered else "moot",
        asked_at=message.created_at,
        closed_at=message.answered_at,
        **(answered if is_answered else {}),
    )
    for finding in findings:
        finding.question = question
        finding.save(update_fields=["question"])


def without_about(offer: dict[str, str]) -> dict[str, str]:
    return {key: value for key, value in offer.items() if key != "about"}


def join(apps: Any, messages: list[Any]) -> None:
    """The oldest that went out is the song's message from now on; the others are part of it."""
    sent = [message for message in messages if message.state == "sent"]
    living = (sent or messages)[0]
    for message in messages:
        ask_each(apps, living, message)
        if message.pk != living.pk:
            message.state = "withdrawn"
            message.save(update_fields=["state"])
    living.key, living.answers = f"{KEY_PREFIX}{living.song_id}", []
    if sent:
        living.changed_at = living.mailed_at = max(message.created_at for message in sent)
    living.save(update_fields=["key", "answers", "changed_at", "mailed_at"])


def ask_each(apps: Any, living: Any, message: Any) -> None:
    Question = apps.get_model("mailroom", "Question")
    findings = findings_of(apps, message)
    sentences = sentences_of(message, len(findings))
    for about in dict.fromkeys(offer.get("about", FILES) for offer in message.answers):
        its = [number for number, finding in enumerate(findings) if ABOUT.get(finding.code, FILES) == about]
        question = Question.objects.create(
            message=living,
            topic=about,
            about=about,
            text="\n\n".join(sentences[number] for number in its) if sentences and its else message.body,
            offers=[
                without_about(offer) for offer in message.answers if offer.get("about", FILES) == about
            ],
            state="held" if message.state == "held" else "open",
            asked_at=None if message.state == "held" else message.created_at,
        )
        for number in its:
            findings[number].question = question
            findings[number].save(update_fields=["question"])


def sentences_of(message: Any, count: int) -> list[str]:
    """One for each finding, where the message is as it was written; else none."""
    _, *sentences = message.body.split("\n\n")
    if len(sentences) != count:
        return []
    numbers = [f"{number}. " for number in range(1, count + 1)]
    return [sentence.removeprefix(number) for sentence, number in zip(sentences, numbers, strict=True)]


def ask_in_messages(apps: Any, schema_editor: Any) -> None:  # noqa: ARG001 - Django's
    """Back: a finding knows its message again; what is one message stays one."""
    for finding in apps.get_model("intake", "Finding").objects.exclude(question=None).select_related("question"):
        finding.asked_in_id = finding.question.message_id
        finding.save(update_fields=["asked_in"])


class Migration(migrations.Migration):

    dependencies = [("intake", "0009_finding_question")]

    operations = [migrations.RunPython(ask_in_one_message, ask_in_messages)]
