"""The shape of the code: no circle of files, no crowded folder, no long file; each engine module has a test.

The layers between rooms and apps are import-linter's contracts, in pyproject.toml.
"""

import ast
from collections import Counter
from graphlib import CycleError, TopologicalSorter
from pathlib import Path

import grimp
import pytest

ROOT = Path(__file__).resolve().parents[1]
# House choices: what a newcomer still takes in at one look.
MOST_MODULES_IN_A_FOLDER = 25
MOST_LINES_IN_A_FILE = 300

CODE = sorted(
    path.relative_to(ROOT)
    for package in ("analysis", "portal", "bench")
    for pattern in ("*.py", "*.js")
    for path in (ROOT / package).rglob(pattern)
    if "migrations" not in path.parts and path.name != "__init__.py"
)
ENGINE = [path for path in CODE if path.parts[0] == "analysis" and path.name != "__main__.py"]


def test_no_files_import_each_other_in_a_circle() -> None:
    graph = grimp.build_graph("analysis", "portal")
    arrows = {name: graph.find_modules_directly_imported_by(name) for name in graph.modules}

    try:
        TopologicalSorter(arrows).prepare()
    except CycleError as error:
        pytest.fail(f"a circle: {' -> '.join(error.args[1])}")


def test_no_folder_is_crowded() -> None:
    modules = Counter(path.parent for path in CODE)

    assert {folder: count for folder, count in modules.items() if count > MOST_MODULES_IN_A_FOLDER} == {}


def test_no_file_is_long() -> None:
    lines = {path: len((ROOT / path).read_text("utf-8").splitlines()) for path in CODE}

    assert {path: count for path, count in lines.items() if count > MOST_LINES_IN_A_FILE} == {}


@pytest.mark.parametrize("path", ENGINE, ids=str)
def test_a_module_of_the_engine_is_tested_under_its_name_or_says_where(path: Path) -> None:
    own_test = ROOT / "tests" / path.parent / f"test_{path.name}"
    docstring = ast.get_docstring(ast.parse((ROOT / path).read_text("utf-8"))) or ""
    named = [word.strip("`.,)") for word in docstring.split() if word.strip("`(").startswith("tests/")]

    assert own_test.exists() or (named and all((ROOT / name.strip("(`")).exists() for name in named))
