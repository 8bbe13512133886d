"""The table in docs/uploads.md names a test for each requirement, and each test that it names is there and runs."""

from __future__ import annotations

import ast
import re
from functools import cache
from pathlib import Path

import pytest

from portal.uploads import headers

HERE = Path(__file__).parent
TABLE = (HERE.parents[2] / "docs" / "uploads.md").read_text(encoding="utf-8")
NAMED = re.findall(r"\| `(test_\w+\.py)::([\w:]+)` \|", TABLE)


@cache
def named_in(file: str) -> frozenset[str]:
    """The tests of a file as the test runner names them, without those that are marked to be left out."""
    tree = ast.parse((HERE / file).read_text(encoding="utf-8"))
    found: set[str] = set()
    for node in tree.body:
        inner = [node] if isinstance(node, ast.FunctionDef) else node.body if isinstance(node, ast.ClassDef) else []
        before = f"{node.name}::" if isinstance(node, ast.ClassDef) else ""
        for test in inner:
            if isinstance(test, ast.FunctionDef) and not any(
                "skip" in ast.unparse(mark) for mark in test.decorator_list
            ):
                found.add(before + test.name)
    return frozenset(found)


@pytest.mark.parametrize(("file", "name"), NAMED, ids=[name for _, name in NAMED])
def test_the_test_of_a_requirement_is_there(file: str, name: str) -> None:
    assert name in named_in(file)


def test_every_row_names_a_test_and_every_extension_has_rows() -> None:
    rows = TABLE.partition("| requirement | test |")[2].strip().splitlines()[1:]

    assert len(NAMED) == len(rows) > 30
    titles = {title.lower() for title in re.findall(r"\*\*([\w-]+)\.\*\*", TABLE)}
    assert titles == {"core", *headers.EXTENSIONS.split(",")}
