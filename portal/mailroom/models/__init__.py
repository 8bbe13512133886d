"""Threads, what is asked in them, and the outbox."""

from portal.mailroom.models.outbox import Mail
from portal.mailroom.models.questions import MessageSeen, Question
from portal.mailroom.models.threads import NOTE_PREFIX, Message, MessageQuerySet, MessageRule

__all__ = ["NOTE_PREFIX", "Mail", "Message", "MessageQuerySet", "MessageRule", "MessageSeen", "Question"]
