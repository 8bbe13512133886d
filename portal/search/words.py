"""Words that are looked for: rows that hold one, and the place in a text that shows it."""

from __future__ import annotations

from functools import reduce
from operator import or_

from django.db.models import Q

from portal.folding import Words, fold

EXCERPT_LENGTH = 160


def one_in(words: Words, field: str) -> Q:
    """At least one of the words is in the field."""
    return reduce(or_, (Q(**{f"{field}__contains": word}) for word in words))


def excerpt(text: str, words: Words) -> str:
    """The first line that holds one of the words, cut to a length that a list can show."""
    lines = [line.strip() for line in text.splitlines() if line.strip()]
    line = next((line for line in lines if any(word in fold(line) for word in words)), lines[0] if lines else "")
    place = max(0, min((at for word in words if (at := fold(line).find(word)) >= 0), default=0) - EXCERPT_LENGTH // 2)
    cut = line[place : place + EXCERPT_LENGTH]
    return ("… " if place else "") + cut + (" …" if place + EXCERPT_LENGTH < len(line) else "")
