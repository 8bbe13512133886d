"""Fills the folded copies of questions that were asked before there were any."""

from __future__ import annotations

from typing import ClassVar

from django.apps.registry import Apps
from django.db import migrations
from django.db.backends.base.schema import BaseDatabaseSchemaEditor

from portal.folding import fold


def fill(apps: Apps, schema_editor: BaseDatabaseSchemaEditor) -> None:  # noqa: ARG001 - Django's own
    questions = apps.get_model("mailroom", "Question").objects
    rows = list(questions.only("pk", "about", "text"))
    for row in rows:
        row.folded = fold(f"{row.about}\n{row.text}")
    questions.bulk_update(rows, ["folded"], batch_size=500)


class Migration(migrations.Migration):
    dependencies: ClassVar = [("search", "0001_fold_what_is_there"), ("mailroom", "0005_folded_questions")]
    operations: ClassVar = [migrations.RunPython(fill, migrations.RunPython.noop)]
