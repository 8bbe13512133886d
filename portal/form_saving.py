"""A form saves the fields that it shows, and nothing else of the row: what changed meanwhile stays as it is."""

from __future__ import annotations

from typing import Any, TypeVar

from django import forms
from django.db import models

Row = TypeVar("Row", bound=models.Model)


class RowForm(forms.ModelForm[Row]):
    """The base of every form that is saved."""

    def save(self, commit: bool = True) -> Any:  # noqa: FBT001, FBT002 - Django's own
        if not commit or self.instance._state.adding:
            return super().save(commit=commit)
        if self.errors:
            raise ValueError("A form with errors is not saved.")
        columns = [field for field in self._meta.model._meta.concrete_fields if not field.primary_key]
        shown = [field.name for field in columns if field.name in self.fields]
        self.instance.save(update_fields=shown)
        return self.instance
