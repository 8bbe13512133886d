import re
from pathlib import Path

import pytest
from django.conf import settings
from django.template.loader import get_template

TEMPLATES = Path(settings.BASE_DIR) / "templates"
NAMES = sorted(str(path.relative_to(TEMPLATES)) for path in TEMPLATES.rglob("*") if path.suffix in (".html", ".txt"))


@pytest.mark.parametrize("name", NAMES)
def test_a_template_compiles_and_is_short(name: str) -> None:
    get_template(name)
    assert len((TEMPLATES / name).read_text().splitlines()) < 120


@pytest.mark.parametrize("name", NAMES)
def test_a_note_ends_on_its_line(name: str) -> None:
    """Django reads `{# … #}` as a note only within one line; a longer one would stand on the page."""
    source = re.sub(r"\{#[^\n]*?#\}", "", (TEMPLATES / name).read_text())
    assert "{#" not in source


@pytest.mark.parametrize("name", NAMES)
def test_times_are_written_by_the_filters_that_name_the_zone(name: str) -> None:
    assert not re.search(r"\|(date|time|timesince|timeuntil)\b", (TEMPLATES / name).read_text())
