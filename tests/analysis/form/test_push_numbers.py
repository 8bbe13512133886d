from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from analysis.core.samples import Doubles, Flags
from analysis.form.push_numbers import PUSH_NUMBERS, push_numbers
from analysis.form.slots import lay_slots
from analysis.tempo.evidence import Evidence
from tests.analysis.form.played import clock_of, played
from tests.analysis.onsets import onset_evidence

BARS, PUSHED = 8, 5
CLOCK = clock_of(BARS)
BEATS: tuple[float, ...] = (1, 2, 3, 4)
OFF = 14  # beat 4.5, in sixteenths


def music(chord_from: float) -> Evidence:
    """C in every bar up to the pushed one, from this beat of it on G."""
    times_s = np.arange(0, BARS * 2.0, 0.05)
    chroma = np.zeros((len(times_s), 12))
    later = times_s >= CLOCK.times_s(PUSHED - 1, np.array([chord_from]))[0] - 0.01
    chroma[~later, 0], chroma[later, 7] = 1.0, 1.0
    return replace(onset_evidence([0.0]), harmony_s=times_s, chroma=chroma, bass=chroma)


def numbers_of(rhythms: dict[int, tuple[float, ...]], chord_from: float) -> tuple[dict[str, Doubles], Flags]:
    """Each number as an array (bars, sixteenths); four players strike every beat of all other bars."""
    beats = dict.fromkeys(range(1, BARS + 1), BEATS) | rhythms
    sound = played(CLOCK, {bar: dict.fromkeys(range(4), strokes) for bar, strokes in beats.items()})
    (grid,) = lay_slots(CLOCK, sound)
    numbers, asked = push_numbers(grid, sound, music(chord_from), CLOCK)
    return {name: numbers[:, :, place] for place, name in enumerate(PUSH_NUMBERS)}, asked


def test_a_push_leaves_the_bar_line_out_and_brings_the_coming_chord() -> None:
    numbers, _ = numbers_of({PUSHED: (1, 2, 3, 4, 4.5), PUSHED + 1: (2, 3, 4)}, chord_from=4.5)

    row = {name: values[PUSHED - 1, OFF] for name, values in numbers.items()}
    assert row["bar line left out"] == pytest.approx(1)
    assert row["struck by those who leave it out"] == pytest.approx(1)
    assert row["struck, new"] == pytest.approx(1)
    assert row["strongest before the bar line"] == 1
    assert row["bass of the bar to come"] > 1


def test_a_chord_that_changes_on_the_bar_line_is_not_early() -> None:
    numbers, _ = numbers_of({PUSHED: (1, 2, 3, 4, 4.5)}, chord_from=5)

    row = {name: values[PUSHED - 1, OFF] for name, values in numbers.items()}
    assert row["bar line left out"] == 0
    assert row["bass of the bar to come"] < 0


def test_only_slots_between_the_last_pulse_and_a_bar_line_are_asked() -> None:
    _, asked = numbers_of({}, chord_from=5)

    assert np.flatnonzero(asked[0]).tolist() == [13, 14, 15]
    assert not asked[-1].any()
