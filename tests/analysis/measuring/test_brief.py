"""What clients state is read, or refused with a sentence."""

from __future__ import annotations

from typing import Any

import pytest

from analysis.core.errors import BriefError
from analysis.core.reports import Brief
from analysis.measuring.brief import brief_from_json


def test_everything_stated_is_read() -> None:
    data = {
        "bpm": "92.5",
        "meter": "6/8",
        "starts": "count-in",
        "count_in_bars": 2,
        "sample_rate_hz": 48_000,
        "duration_s": 201.5,
        "make_map": True,
        "click_promised": True,
    }

    assert brief_from_json(data) == Brief(
        bpm=92.5,
        meter="6/8",
        starts="count-in",
        count_in_bars=2,
        sample_rate_hz=48_000,
        duration_s=201.5,
        make_map=True,
        click_promised=True,
    )


@pytest.mark.parametrize("data", [{}, {"bpm": None, "meter": "", "starts": None}, {"bpm": ""}])
def test_what_is_left_out_is_unknown(data: dict[str, Any]) -> None:
    assert brief_from_json(data) == Brief()


@pytest.mark.parametrize(
    ("data", "words"),
    [
        ({"bpm": "fast"}, "bpm must be a number"),
        ({"bpm": 19.9}, "bpm must be between 20 and 400"),
        ({"bpm": "nan"}, "bpm must be between 20 and 400"),
        ({"sample_rate_hz": 48}, "sample_rate_hz must be between 1000 and 768000"),
        ({"count_in_bars": -1}, "count_in_bars must be between 0 and 64"),
        ({"starts": "somewhere"}, "starts must be one of"),
        ({"meter": "four"}, "four"),
    ],
)
def test_what_no_one_can_have_meant_is_refused(data: dict[str, Any], words: str) -> None:
    with pytest.raises(BriefError, match=words):
        brief_from_json(data)
