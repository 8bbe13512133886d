"""Folds again what was folded with its accents."""

from __future__ import annotations

from importlib import import_module
from typing import ClassVar

from django.apps.registry import Apps
from django.db import migrations
from django.db.backends.base.schema import BaseDatabaseSchemaEditor

everything, questions = (
    import_module(f"portal.search.migrations.{name}") for name in ("0001_fold_what_is_there", "0002_fold_questions")
)


def fill(apps: Apps, schema_editor: BaseDatabaseSchemaEditor) -> None:
    everything.fill(apps, schema_editor)
    questions.fill(apps, schema_editor)


class Migration(migrations.Migration):
    dependencies: ClassVar = [("search", "0002_fold_questions")]
    operations: ClassVar = [migrations.RunPython(fill, migrations.RunPython.noop)]
