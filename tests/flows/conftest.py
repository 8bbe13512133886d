"""A house to walk through, as it is when its own people's songs are measured."""

import shutil
from pathlib import Path

import pytest

from tests.houses import settled_in


@pytest.fixture(scope="session")
def settled_house(shared_folder: Path) -> Path:
    """Made once for all processes that test side by side."""
    return settled_in(shared_folder)


@pytest.fixture
def house_dir(settled_house: Path, tmp_path: Path) -> Path:
    """The test's own: a house opened here goes on from there."""
    return shutil.copytree(settled_house, tmp_path / "house")
