"""Other readings in a person's words."""

from __future__ import annotations

import pytest

from analysis.alternatives import bar_label, tempo_label
from analysis.readings import METER_KINDS, Reading

FOUR, THREE = METER_KINDS[0], METER_KINDS[1]


@pytest.mark.parametrize(
    ("ratio", "label"),
    [(0.5, "half"), (2.0, "double"), (1.5, "three halves"), (2 / 3, "two thirds"), (1 / 3, "a third"), (1.2, "")],
)
def test_names_the_level(ratio: float, label: str) -> None:
    assert tempo_label(ratio) == label


@pytest.mark.parametrize(
    ("later_s", "label"),
    [(0.5, "one beat later"), (0.25, "half a beat later"), (1.0, "2 beats later"), (-0.5, "3 beats later")],
)
def test_names_where_the_bar_begins_instead(later_s: float, label: str) -> None:
    best, other = Reading(0, 0.5, 0.0, FOUR, 10.0), Reading(0, 0.5, 0.0, FOUR, 10.0 + later_s)

    assert bar_label(best, other) == label


def test_another_meter_is_named_by_its_sign() -> None:
    assert bar_label(Reading(0, 0.5, 0.0, FOUR, 0.0), Reading(0, 0.5, 0.0, THREE, 0.0)) == "3/4"
