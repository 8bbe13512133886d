"""Expected bars by arithmetic on the maps' tempos."""

from __future__ import annotations

import pytest

from analysis.maps.map_changes import moved_bars, nearest_bar
from analysis.maps.tempo_map import TempoMap


@pytest.mark.parametrize(
    ("new", "bars", "moved"),
    [
        # 120 in 4/4: a bar takes 2 s. Some milliseconds either way change no bar.
        (TempoMap.constant(120, "4/4", 0.02), (33, 36), (33, 36)),
        (TempoMap.constant(120, "4/4", -0.02), (33, 36), (33, 36)),
        # Bar one two bars later: what was bar 33 is bar 31.
        (TempoMap.constant(120, "4/4", 4), (33, 36), (31, 34)),
        # Half the tempo: bars 33 and 34 begin at 64 s and take 4 s, which is bar 17 of 4 s each.
        (TempoMap.constant(60, "4/4", 0), (33, 34), (17, 17)),
        (TempoMap.constant(60, "4/4", 0), (34, 34), (17, 17)),
        # Twice the tempo: one bar of 2 s is two of 1 s.
        (TempoMap.constant(240, "4/4", 0), (33, 33), (65, 66)),
        # 3/4 at 120: a bar takes 1.5 s. 64 s to 66 s is from bar 43.67 to 45: bars 43 (a third of it) and 44.
        (TempoMap.constant(120, "3/4", 0), (33, 33), (43, 44)),
    ],
)
def test_bars_move_by_time(new: TempoMap, bars: tuple[int, int], moved: tuple[int, int]) -> None:
    assert moved_bars(TempoMap.constant(120, "4/4", 0), new, *bars) == moved


def test_a_map_gives_its_own_bars_before_bar_one_and_after_a_change_of_tempo() -> None:
    changing = {"segments": [
        {"bar": 1, "time_s": 2.0, "bpm": 100, "meter": "4/4"},
        {"bar": 9, "time_s": 21.2, "bpm": 131.7, "meter": "7/8"},
    ]}  # fmt: skip
    tempo_map = TempoMap.from_json(changing)
    for bar in (-1, 1, 8, 9, 200):
        assert moved_bars(tempo_map, tempo_map, bar, bar + 1) == (bar, bar + 1)


@pytest.mark.parametrize(
    ("new", "bars"),
    [
        # Bars of 2 s: lines of bars 0, 1, 5 at -2, 0, 8 s. Bar one 0.9 s or 1.1 s later: the same bars, or one less.
        (TempoMap.constant(120, "4/4", 0.9), (0, 1, 5)),
        (TempoMap.constant(120, "4/4", 1.1), (-1, 0, 4)),
        # Half the tempo: lines at 0, 4, 8 s; bar 0 lies between -4 and 0 s.
        (TempoMap.constant(60, "4/4", 0), (0, 1, 3)),
    ],
)
def test_a_bar_is_found_by_the_nearest_line(new: TempoMap, bars: tuple[int, ...]) -> None:
    assert tuple(nearest_bar(TempoMap.constant(120, "4/4", 0), new, bar) for bar in (0, 1, 5)) == bars
