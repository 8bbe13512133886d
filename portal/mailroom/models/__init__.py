"""Threads, what is asked in them, and the outbox."""

from portal.mailroom.models.outbox import Mail
from portal.mailroom.models.questions import MessageSeen, Question
from portal.mailroom.models.threads import Message, MessageQuerySet, MessageRule

__all__ = ["Mail", "Message", "MessageQuerySet", "MessageRule", "MessageSeen", "Question"]
