"""Which rows a piece of work locks, in order. The database of the tests locks none, so the calls are counted."""

from __future__ import annotations

from typing import Any

import pytest
from django.db.models import Model, QuerySet


def locked_by(monkeypatch: pytest.MonkeyPatch) -> list[type[Model]]:
    """The models whose rows are locked from now on, each where it is locked first."""
    locked: list[type[Model]] = []
    lock = QuerySet.select_for_update

    def noted(self: QuerySet[Model], *arguments: Any, **options: Any) -> QuerySet[Model]:
        if self.model not in locked:
            locked.append(self.model)
        return lock(self, *arguments, **options)

    monkeypatch.setattr(QuerySet, "select_for_update", noted)
    return locked
