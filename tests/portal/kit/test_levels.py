"""What of a sent balance is taken: levels in range for what there is, nothing else."""

from __future__ import annotations

import math
from typing import Any

import pytest

from portal.kit.levels import clean_levels

EMPTY = {"groups": {}, "lanes": {}, "mono": False, "without_drums": False}


def test_levels_stay_in_range_and_belong_to_something() -> None:
    sent = {
        "click": 10**400,
        "music": -math.inf,
        "groups": {"keys": -3, "nothing": 0, "drums": True},
        "lanes": {"7": -12, "8": 0, "9": "loud", "x": 1},
        "mono": True,
        "without_drums": 1,
        "more": "x" * 100,
    }
    assert clean_levels(sent, lane_ids=[7, 9]) == {
        "click": 12.0,
        "music": -48.0,
        "groups": {"keys": -3.0},
        "lanes": {"7": -12.0},
        "mono": True,
        "without_drums": False,
    }


@pytest.mark.parametrize("sent", [None, 3, "loud", [], {"click": math.nan, "groups": [1], "lanes": 2}])
def test_what_is_no_balance_is_an_empty_one(sent: Any) -> None:
    assert clean_levels(sent, lane_ids=[]) == EMPTY
