"""What a song sounds like in its own bars and in wrong ones: notes held for four beats, one plucked on each."""

from __future__ import annotations

import numpy as np
import pytest

from analysis.core.samples import Doubles
from analysis.form.bar_clock import BarClock
from analysis.form.song_sound import SongSound, hear
from analysis.maps.tempo_map import MeterSign
from analysis.measuring.bar_numbers import NUMBERS, BarsRead, bar_numbers
from analysis.tempo.evidence import Evidence, pool
from tests.analysis.playing import RATE_HZ, Samples, features_of, placed, pluck

BEAT_S, BEATS = 0.5, 64
C4 = 24  # semitones above 65.4 Hz
LOOP = (0, 5, 9, 7)


def held(semitones: int) -> Samples:
    time_s = np.arange(round(4 * BEAT_S * RATE_HZ)) / RATE_HZ
    tone: Samples = 0.2 * np.sin(2 * np.pi * 65.406 * 2 ** (semitones / 12) * time_s)
    return tone


@pytest.fixture(scope="module")
def heard() -> tuple[Evidence, SongSound]:
    notes = [(0.5 + beat * BEAT_S, pluck(C4, level=0.02)) for beat in range(BEATS)]
    notes += [(0.5 + bar * 4 * BEAT_S, held(C4 + LOOP[bar % 4])) for bar in range(BEATS // 4)]
    features = features_of(placed(notes, BEATS * BEAT_S + 1))
    music = pool([features])
    assert music is not None
    return music, hear([features])


def numbers(heard: tuple[Evidence, SongSound], *, beats: int = 4, late_beats: int = 0, sign: str = "4/4") -> Doubles:
    first_s = 0.5 + late_beats * BEAT_S
    lines = np.arange(first_s, 0.5 + BEATS * BEAT_S + 1e-9, beats * BEAT_S)
    clock = BarClock.even(lines, MeterSign.parse(sign))
    return bar_numbers(BarsRead(0, clock, sign, beats, 0.5), *heard)


def named(row: Doubles) -> dict[str, float]:
    return dict(zip(NUMBERS, row.tolist(), strict=True))


def test_every_number_has_a_name_of_its_own(heard: tuple[Evidence, SongSound]) -> None:
    row = numbers(heard)

    assert len(set(NUMBERS)) == len(NUMBERS) == len(row)
    assert np.isfinite(row).all()


def test_harmony_changes_at_the_lines_of_true_bars(heard: tuple[Evidence, SongSound]) -> None:
    true, late = named(numbers(heard)), named(numbers(heard, late_beats=2))

    assert true["harmony line over the middle"] > 1 > -1 > late["harmony line over the middle"]
    assert true["harmony share of lines with a change"] == 1


def test_every_other_line_of_half_bars_is_another(heard: tuple[Evidence, SongSound]) -> None:
    true, half = named(numbers(heard)), named(numbers(heard, beats=2))

    assert half["harmony every other line"] > 1 > true["harmony every other line"]


def test_what_is_said_by_meter_stands_in_the_place_of_its_own(heard: tuple[Evidence, SongSound]) -> None:
    found = named(numbers(heard, beats=3, sign="3/4"))

    assert found["3/4 eighth"] == found["eighth"]
    assert all(found[name] == 0 for name in NUMBERS if name.startswith("6/8 "))
    assert found["is 3/4"] == 1
    assert found["is 4/4"] == 0
