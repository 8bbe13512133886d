"""What the flows share: material to send, and two running houses.

Each test brings songs or a booking of its own, and depends on none that another brought; one works on the house's own
songs. A test that looks at whatever there is has a house to itself (`house_dir`).
"""

import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.flows.course import Material
from tests.flows.material import make_material, material_in
from tests.houses import OpenHouse, made_once, opened, status_of
from tests.portal.demo.waiting import until


@pytest.fixture(scope="session")
def material(shared_folder: Path) -> Material:
    """Rendered once for all processes that test side by side."""
    return material_in(made_once(shared_folder / "material", make_material))


@pytest.fixture(scope="package")
def quiet_house(settled_house: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[OpenHouse]:
    """Nothing is killed in it."""
    with opened(shutil.copytree(settled_house, tmp_path_factory.mktemp("quiet") / "house")) as house:
        yield house


@pytest.fixture(scope="package")
def struck_house_of_all(settled_house: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[OpenHouse]:
    with opened(shutil.copytree(settled_house, tmp_path_factory.mktemp("struck") / "house")) as house:
        yield house


@pytest.fixture
def struck_house(struck_house_of_all: OpenHouse) -> OpenHouse:
    """Its parts may be killed, and so may the whole of it, if it is opened again. Each test begins when it answers."""
    until(lambda: status_of(f"{struck_house_of_all.said['url']}/healthz") == 200)
    return struck_house_of_all
