from __future__ import annotations

import pytest

from portal.prep.names import plain_title


@pytest.mark.parametrize(
    ("title", "plain"),
    [("Night bus", "Night-bus"), ("../../etc", "etc"), ("밤 버스", "밤-버스"), ("🥁", "song"), ("x" * 200, "x" * 60)],
)
def test_titles_become_plain_names(title: str, plain: str) -> None:
    assert plain_title(title) == plain
