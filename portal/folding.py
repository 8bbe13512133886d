"""Text as it is compared and searched: without regard to case, and composed or decomposed alike, on every database.

SQLite compares letters beyond ASCII by case, PostgreSQL by its locale. So a folded copy stands beside what is searched,
and what somebody looks for is folded in the same way (Unicode Standard, 3.13, compatibility caseless matching).
"""

from __future__ import annotations

import unicodedata
from collections.abc import Iterable
from functools import reduce
from operator import and_, or_
from typing import Any, TypeVar

from django.db import models
from django.db.models import Q

Words = tuple[str, ...]
Row_co = TypeVar("Row_co", bound=models.Model, covariant=True)

# Combining Diacritical Marks, U+0300 to U+036F.
ACCENTS = frozenset(map(chr, range(0x0300, 0x0370)))
LONGEST_QUERY = 200
MOST_WORDS = 8


def fold(text: str) -> str:
    """Accents are left out: who cannot type them finds what has them, and the other way round."""
    letters = unicodedata.normalize("NFKD", unicodedata.normalize("NFKC", text).casefold())
    return unicodedata.normalize("NFC", "".join(letter for letter in letters if letter not in ACCENTS))


def words_in(query: str) -> Words:
    """The first words of what was typed, folded. PostgreSQL stores no zero character, so none is looked for."""
    typed = fold(query[:LONGEST_QUERY].replace("\0", " "))
    return tuple(dict.fromkeys(typed.split()))[:MOST_WORDS]


def all_in(words: Words, *fields: str) -> Q:
    """Each word is in one of the folded fields."""
    return reduce(and_, (any_of(word, *fields) for word in words), Q())


def any_of(word: str, *fields: str) -> Q:
    return reduce(or_, (Q(**{f"{field}__contains": word}) for field in fields))


class FoldedField(models.TextField):  # type: ignore[type-arg]  # generic in the stubs alone
    """The folded copy of the fields `of` its row, written whenever the row is. Its model is a `SearchedModel`."""

    def __init__(self, *, of: Iterable[str], **options: Any) -> None:
        self.of = tuple(of)
        super().__init__(**options | {"blank": True, "default": "", "editable": False})

    def deconstruct(self) -> Any:
        name, path, args, options = super().deconstruct()
        return name, path, args, options | {"of": self.of}

    def pre_save(self, model_instance: models.Model, add: bool) -> str:  # noqa: ARG002, FBT001 - Django's own
        folded = fold("\n".join(getattr(model_instance, name) for name in self.of))
        setattr(model_instance, self.attname, folded)
        return folded


def copies_of(model: type[models.Model]) -> list[FoldedField]:
    return [field for field in model._meta.concrete_fields if isinstance(field, FoldedField)]


class SearchedQuerySet(models.QuerySet[Row_co]):
    """The rows of a `SearchedModel`. What is written to many at once reaches their copies too, or is refused."""

    def update(self, **values: Any) -> int:
        for copy in copies_of(self.model):
            if set(copy.of) & set(values):
                texts = [values.get(name) for name in copy.of]
                if not all(isinstance(text, str) for text in texts):
                    raise TypeError(f"{copy.name} is a copy of {', '.join(copy.of)}: save each row instead")
                values[copy.name] = fold("\n".join(map(str, texts)))
        return super().update(**values)

    update.alters_data = True  # type: ignore[attr-defined]  # as Django's own says it: no template may call it


class SearchedModel(models.Model):
    """A model with a `FoldedField`: who saves one of the fields that it copies saves the copy. Its manager is made of
    a `SearchedQuerySet`."""

    class Meta:
        abstract = True

    def save(self, *args: Any, update_fields: Iterable[str] | None = None, **options: Any) -> None:
        if update_fields is not None:
            named = set(update_fields)
            update_fields = named | {copy.name for copy in copies_of(type(self)) if named & set(copy.of)}
        super().save(*args, update_fields=update_fields, **options)
