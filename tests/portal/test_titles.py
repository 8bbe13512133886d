from __future__ import annotations

import pytest

from portal.titles import plain_title


@pytest.mark.parametrize(
    ("title", "plain"),
    [
        ("Cold Bus Under Spoons", "Cold-Bus-Under-Spoons"),
        ("../../etc", "etc"),
        ("버스 밑 숟가락", "버스-밑-숟가락"),
        ("🥁", "song"),
        ("x" * 200, "x" * 60),
    ],
)
def test_titles_become_plain_names(title: str, plain: str) -> None:
    assert plain_title(title) == plain
