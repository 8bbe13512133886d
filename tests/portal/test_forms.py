"""What every field of every form makes of what nobody types: a sentence, or a value; never an error of ours."""

from __future__ import annotations

import importlib
from collections.abc import Iterator
from contextlib import suppress
from pathlib import Path
from typing import Any

import pytest
from django import forms
from django.core.exceptions import ValidationError

import portal

ODD = (
    "9" * 5_000,
    "-" + "9" * 5_000,
    "0." + "0" * 5_000 + "1",
    "1e" + "9" * 400,
    "1e999",
    "NaN",
    "Infinity",
    "٣" * 5_000,
    "²",
    "1/" + "9" * 5_000,
    "\ud800",
    "\x00",
    "(" * 5_000,
    "[" * 100_000,
    "2026-99-99",
    "9" * 5_000 + "-01-01",
)


def form_classes() -> Iterator[Any]:
    for path in sorted(Path(portal.__path__[0]).rglob("*.py")):
        if "forms" in path.stem:
            name = ".".join(path.relative_to(Path(portal.__path__[0]).parent).with_suffix("").parts)
            for value in vars(importlib.import_module(name)).values():
                if isinstance(value, type) and issubclass(value, forms.BaseForm) and value.__module__ == name:
                    yield value


FIELDS = {
    f"{form.__module__}.{form.__name__}.{name}": field
    for form in form_classes()
    for name, field in form.base_fields.items()
    if not isinstance(field, forms.FileField)
}


def test_the_fields_are_found() -> None:
    assert len(FIELDS) > 50


@pytest.mark.django_db
@pytest.mark.parametrize("name", FIELDS)
def test_odd_values_get_a_sentence(name: str) -> None:
    for value in ODD:
        with suppress(ValidationError):
            FIELDS[name].clean(value)
