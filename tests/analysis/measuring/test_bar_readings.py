from __future__ import annotations

from dataclasses import replace

import numpy as np

from analysis.bars.ranking import Ranking
from analysis.bars.readings import METER_KINDS, Reading
from analysis.measuring.bar_readings import readings_in_question

FOUR, THREE, SIX, FIVE = METER_KINDS[:4]
BEST = Reading(0, 0.5, 0.5, FOUR, 0.5)
NEXT_BAR = replace(BEST, bar_s=2.5)
IN_THREE, IN_SIX, IN_FIVE = (replace(BEST, meter=meter) for meter in (THREE, SIX, FIVE))
OTHER_PULSE = replace(IN_FIVE, fit=1, period_s=0.7)


def asked(readings: tuple[Reading, ...], weights: tuple[float, ...]) -> dict[Reading, float]:
    ranking = Ranking(readings, np.array(weights), ())
    return {found.reading: found.weight for found in readings_in_question(ranking)}


def test_readings_of_the_same_bars_are_one_with_the_weight_of_all() -> None:
    assert asked((BEST, NEXT_BAR), (0.6, 0.4)) == {BEST: 1.0}


def test_meters_that_are_often_mistaken_are_asked_about_however_unlikely() -> None:
    found = asked((BEST, IN_THREE, IN_SIX, IN_FIVE, OTHER_PULSE), (1.0, 1e-7, 1e-8, 1e-6, 1e-9))

    assert set(found) == {BEST, IN_THREE, IN_SIX}


def test_the_likeliest_come_first() -> None:
    assert list(asked((BEST, IN_FIVE, IN_SIX), (0.2, 0.3, 0.5))) == [IN_SIX, IN_FIVE, BEST]
