"""What the flows share: material to send."""

from pathlib import Path

import pytest

from tests.flows.course import Material
from tests.flows.material import make_material, material_in
from tests.houses import made_once


@pytest.fixture(scope="session")
def material(shared_folder: Path) -> Material:
    """Rendered once for all processes that test side by side."""
    return material_in(made_once(shared_folder / "material", make_material))
