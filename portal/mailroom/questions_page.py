"""The questions of one message, as one reader sees them."""

from __future__ import annotations

from typing import Any

from portal.mailroom.models import Message, Question
from portal.people.models import User


def questions_page(message: Message, user: User, *, notice: str = "") -> dict[str, Any]:
    """Open ones first, then what is held, then what is over. What was never asked is not there for a client."""
    asked = [one for one in message.questions.all() if one.asked_at is not None or user.is_drummer]
    waiting = [one for one in asked if one.is_waiting]
    held = [one for one in asked if one.state == Question.State.HELD]
    return {
        "message": message,
        "questions": waiting + held + [one for one in asked if one not in waiting and one not in held],
        "waiting": len(waiting),
        "saved": sum(one.state == Question.State.SAVED for one in waiting),
        "held": len(held),
        "notice": notice,
        "user": user,
    }
