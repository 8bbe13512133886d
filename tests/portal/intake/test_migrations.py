"""What an earlier version asked, message by message, becomes one message a song with a question for each thing."""

from __future__ import annotations

from typing import Any

import pytest
from django.db import connection
from django.db.migrations.executor import MigrationExecutor

from tests.factories import make_client, make_song

pytestmark = pytest.mark.django_db(transaction=True)
BEFORE, AFTER = ("intake", "0009_finding_question"), ("intake", "0010_questions_of_messages")
TEMPO = [
    {"code": "bpm=112", "label": "112 is right", "about": "Tempo and click"},
    {"code": "bpm", "label": "It is …", "about": "Tempo and click", "asks": "bpm"},
]
FILES = [{"code": "as-is", "label": "Use the files as they are", "about": "Files"}]


def migrate(to: tuple[str, str]) -> Any:
    executor = MigrationExecutor(connection)
    executor.migrate([to])
    return MigrationExecutor(connection).loader.project_state([to]).apps


class Old:
    """One song of an earlier version, and what its checks said."""

    def __init__(self, apps: Any, song_id: int, booking_id: int) -> None:
        self.apps, self.song_id, self.booking_id = apps, song_id, booking_id

    def asked(self, number: int, state: str, answers: list[dict[str, str]], *codes: str, **fields: Any) -> Any:
        body = "\n\n".join(["We checked the files.", *(f"{at}. {code}?" for at, code in enumerate(codes, start=1))])
        message = self.apps.get_model("mailroom", "Message").objects.create(
            booking_id=self.booking_id,
            song_id=self.song_id,
            key=f"check:{self.song_id}:{number}",
            state=state,
            subject=f"asked {number}",
            body=body,
            answers=answers,
            **fields,
        )
        for code in codes:
            self.apps.get_model("intake", "Finding").objects.create(
                song_id=self.song_id, code=code, severity="ask", asked_in=message
            )
        return message


def questions_of(apps: Any, key: str) -> list[tuple[str, str, str, list[str]]]:
    questions = apps.get_model("mailroom", "Question").objects.filter(message__key=key).order_by("pk")
    return [(one.about, one.state, one.text, [offer["code"] for offer in one.offers]) for one in questions]


def test_what_waits_becomes_one_message_and_what_is_over_stays_as_it_is() -> None:
    song = make_song(client=make_client())
    apps = migrate(BEFORE)
    try:
        old = Old(apps, song.pk, song.booking_id)
        answer = {"code": "as-is", "label": "Use the files as they are", "value": "", "unit": ""}
        answered = old.asked(1, "answered", FILES, "dropout", answer=answer)
        withdrawn = old.asked(2, "withdrawn", FILES)
        first = old.asked(3, "sent", TEMPO + FILES, "no-click", "clipped")
        second = old.asked(4, "sent", FILES, "no-music")
        held = old.asked(5, "held", FILES, "hum")

        apps = migrate(AFTER)

        messages = {message.pk: message for message in apps.get_model("mailroom", "Message").objects.all()}
        living = messages[first.pk]
        assert (living.key, living.state, living.answers) == (f"check:{song.pk}", "sent", [])
        assert living.changed_at == living.mailed_at == messages[second.pk].created_at
        assert questions_of(apps, living.key) == [
            ("Tempo and click", "open", "no-click?", ["bpm=112", "bpm"]),
            ("Files", "open", "clipped?", ["as-is"]),
            ("Files", "open", messages[second.pk].body.split("\n\n")[1].removeprefix("1. "), ["as-is"]),
            ("Files", "held", "hum?", ["as-is"]),
        ]
        assert [messages[one.pk].state for one in (answered, withdrawn, second, held)] == [
            "answered",
            "withdrawn",
            "withdrawn",
            "withdrawn",
        ]
        assert messages[answered.pk].answer == answer
        findings = apps.get_model("intake", "Finding").objects.select_related("question")
        assert {finding.code: finding.question.state for finding in findings} == {
            "dropout": "sent",
            "no-click": "open",
            "clipped": "open",
            "no-music": "open",
            "hum": "held",
        }

        back = migrate(BEFORE)
        asked_in = back.get_model("intake", "Finding").objects.values_list("code", "asked_in")
        assert dict(asked_in)["clipped"] == first.pk
    finally:
        executor = MigrationExecutor(connection)
        executor.migrate(executor.loader.graph.leaf_nodes())
