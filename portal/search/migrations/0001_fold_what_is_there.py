"""Fills the folded copies of what was stored before there were any. Later rows bring theirs."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any, ClassVar

from django.apps.registry import Apps
from django.db import migrations
from django.db.backends.base.schema import BaseDatabaseSchemaEditor

from portal.folding import fold

SEARCHED = (
    ("people", "User", ("name",)),
    ("bookings", "Booking", ("title",)),
    ("bookings", "Song", ("title",)),
    ("mailroom", "Message", ("subject", "body")),
    ("intake", "SourceFile", ("name",)),
    ("takes", "RoughMix", ("name",)),
)
BATCH = 500


def fill(apps: Apps, schema_editor: BaseDatabaseSchemaEditor) -> None:  # noqa: ARG001 - Django's own
    for app, name, fields in SEARCHED:
        model = apps.get_model(app, name)
        for rows in batches(model.objects.only("pk", *fields).order_by("pk")):
            for row in rows:
                row.folded = fold("\n".join(getattr(row, field) for field in fields))
            model.objects.bulk_update(rows, ["folded"])


def batches(rows: Any) -> Iterator[list[Any]]:
    last = 0
    while batch := list(rows.filter(pk__gt=last)[:BATCH]):
        yield batch
        last = batch[-1].pk


class Migration(migrations.Migration):
    dependencies: ClassVar = [
        ("people", "0005_folded_text"),
        ("bookings", "0004_folded_text"),
        ("mailroom", "0003_folded_text"),
        ("intake", "0006_folded_text"),
        ("takes", "0002_folded_text"),
    ]
    operations: ClassVar = [migrations.RunPython(fill, migrations.RunPython.noop)]
