"""Gunicorn's hooks in a demo."""

from typing import Any

from portal.processes import die_with


def post_fork(server: Any, worker: Any) -> None:  # noqa: ARG001
    die_with(server.pid)
