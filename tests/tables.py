"""The tables of the tests: migrated once for all processes that test side by side, copied for each, emptied by row."""

import fcntl
import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from django.core.management import call_command
from django.db import connection
from django.test import TransactionTestCase

MIGRATED = "kitpost_migrated"
# Written by `migrate` alone.
KEPT = {"auth_permission", "django_content_type"}


def copy_migrated(shared: Path) -> None:
    """Let this process's test database begin with all tables. Who comes first makes them; `shared` is for all."""
    of_tests = connection.settings_dict["TEST"]
    with alone(shared):
        if connection.vendor == "sqlite":
            shutil.copy(migrated_file(shared), of_tests["NAME"])
        else:
            make_template(mark_of_template(shared))
            of_tests["TEMPLATE"] = MIGRATED


def drop_migrated(shared: Path) -> None:
    """On a server that stays. A process that comes later makes them again."""
    if connection.vendor != "sqlite":
        with alone(shared), connection._nodb_cursor() as cursor:
            cursor.execute(f"DROP DATABASE IF EXISTS {MIGRATED}")
            mark_of_template(shared).unlink(missing_ok=True)


@contextmanager
def alone(shared: Path) -> Iterator[None]:
    with (shared / "tables.lock").open("w") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        yield


def migrated_file(shared: Path) -> Path:
    made, unfinished = shared / "tables.sqlite3", shared / "unfinished.sqlite3"
    if not made.exists():
        unfinished.unlink(missing_ok=True)
        migrate(str(unfinished))
        unfinished.rename(made)
    return made


def mark_of_template(shared: Path) -> Path:
    return shared / "tables-made"


def make_template(mark: Path) -> None:
    if not mark.exists():
        with connection._nodb_cursor() as cursor:
            cursor.execute(f"DROP DATABASE IF EXISTS {MIGRATED}")
            cursor.execute(f"CREATE DATABASE {MIGRATED}")
        migrate(MIGRATED)
        mark.touch()


def migrate(name: str) -> None:
    own = connection.settings_dict["NAME"]
    let_go()
    connection.settings_dict["NAME"] = name
    try:
        call_command("migrate", verbosity=0, interactive=False)
    finally:
        let_go()
        connection.settings_dict["NAME"] = own


def let_go() -> None:
    """No connection may be left to what is moved or copied."""
    connection.close()
    if connection.vendor == "postgresql":
        server: Any = connection
        server.close_pool()


def empty(_: TransactionTestCase) -> None:
    """What `flush` does, but for what `migrate` wrote, which need not be written again then; and by rows: a server
    empties some dozens of small tables faster so than as tables."""
    names = set(connection.introspection.django_table_names(only_existing=True, include_views=False)) - KEPT
    quoted = [connection.ops.quote_name(name) for name in sorted(names)]
    connection.ops.execute_sql_flush([f"DELETE FROM {name}" for name in quoted])  # noqa: S608  names of our own tables
