"""What is installed is pinned by its hash, and no file says from which server."""

import json
import re
import tomllib
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[1]
REQUIREMENTS = sorted(ROOT.glob("requirements*.txt"))
PIN = re.compile(r"^([a-z0-9-]+(?:\[[a-z,]+\])?)==(\S+)", re.MULTILINE)


def text_of(name: str) -> str:
    return (ROOT / name).read_text(encoding="utf-8")


@pytest.mark.parametrize("file", REQUIREMENTS, ids=lambda file: file.name)
def test_every_package_has_its_version_and_its_hashes(file: Path) -> None:
    blocks = re.split(r"\n(?=[a-z0-9])", re.sub(r"^\s*#.*\n", "", file.read_text(encoding="utf-8"), flags=re.MULTILINE))

    assert blocks
    assert [block for block in blocks if not PIN.match(block) or "--hash=sha256:" not in block] == []


@pytest.mark.parametrize("file", REQUIREMENTS, ids=lambda file: file.name)
def test_no_lock_names_a_server(file: Path) -> None:
    assert re.findall(r"https?://\S+|--(?:extra-)?index-url|--find-links", file.read_text(encoding="utf-8")) == []


def test_every_browser_package_has_its_hash_and_no_server() -> None:
    packages = json.loads(text_of("package-lock.json"))["packages"]

    assert [name for name, package in packages.items() if "resolved" in package] == []
    assert [name for name, package in packages.items() if name and not package["integrity"].startswith("sha512-")] == []


def test_development_runs_on_the_versions_that_production_gets() -> None:
    production, development = (set(PIN.findall(text_of(name))) for name in ("requirements.txt", "requirements-dev.txt"))

    assert production - development == set()


def test_what_pyproject_asks_for_is_locked() -> None:
    asked = {
        re.split(r"[\[<>=; ]", line)[0].lower()
        for line in tomllib.loads(text_of("pyproject.toml"))["project"]["dependencies"]
    }

    assert asked - {name.split("[")[0] for name, _ in PIN.findall(text_of("requirements.txt"))} == set()
