"""What a person may choose of a click. What it does to the clicks is tested in `test_click.py`."""

from __future__ import annotations

import pytest

from analysis.maps.click_style import ClickStyle


def test_a_style_travels_as_json() -> None:
    style = ClickStyle(subdivision="triplet", bars_on=4, bars_off=2, sound="wood", peak_dbfs=-18.0)

    assert ClickStyle.from_json(style.to_json()) == style


@pytest.mark.parametrize(
    "wrong", [{"subdivision": "fifth"}, {"sound": "bell"}, {"bars_on": 0}, {"bars_on": 1, "bars_off": -1}]
)
def test_what_no_click_has_is_refused(wrong: dict[str, object]) -> None:
    with pytest.raises(ValueError, match=r"must be one of|bars"):
        ClickStyle.from_json(wrong)
