"""What somebody looks for, as words that must all be there. Whatever they type is text: nothing in it is a command."""

from __future__ import annotations

from functools import reduce
from operator import and_, or_

from django.db.models import Q

from portal.folding import fold

Words = tuple[str, ...]

LONGEST_QUERY = 200
MOST_WORDS = 8
EXCERPT_LENGTH = 160


def words_in(query: str) -> Words:
    """The first words of what was typed, folded. PostgreSQL stores no zero character, so none is looked for."""
    typed = fold(query[:LONGEST_QUERY].replace("\0", " "))
    return tuple(dict.fromkeys(typed.split()))[:MOST_WORDS]


def all_in(words: Words, *fields: str) -> Q:
    """Each word is in one of the fields."""
    return reduce(and_, (any_of(word, *fields) for word in words))


def any_of(word: str, *fields: str) -> Q:
    return reduce(or_, (Q(**{f"{field}__contains": word}) for field in fields))


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
