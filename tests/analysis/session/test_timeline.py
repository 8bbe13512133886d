"""Where bar one lies in the session. Places are arithmetic: at 120 a bar of 4/4 is 2 s, 96 000 frames at 48 kHz."""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path

import numpy as np
import pytest

from analysis.core.errors import MapError
from analysis.maps.click_style import ClickStyle
from analysis.maps.tempo_map import TempoMap
from analysis.session.settings import SessionSettings
from analysis.session.timeline import Timeline, plan_session
from tests.analysis.encoded import write_sound


def plan(tempo_map: TempoMap, *, length_s: int = 20, **settings: object) -> Timeline:
    """A file that is never opened: nothing has to be cut."""
    chosen = SessionSettings(**settings)  # type: ignore[arg-type]
    return plan_session([Path("none.wav")], tempo_map, chosen, lengths_s=[Fraction(length_s)])


def test_bar_one_is_the_houses_bar() -> None:
    timeline = plan(TempoMap.constant(120, "4/4", 1))

    assert (timeline.start_bar, timeline.bar_one_frame, timeline.shift_frames) == (3, 192_000, 144_000)
    assert timeline.frames == 23 * 48_000  # 20 s of file, 3 s later
    assert timeline.session_map.time_of_bar(3) == 4
    assert timeline.bars == 12  # bar 12 begins at 22 s


@pytest.mark.parametrize(("count_in", "start_bar"), [(0, 1), (1, 2), (4, 5)])
def test_the_count_in_has_room(count_in: int, start_bar: int) -> None:
    timeline = plan(TempoMap.constant(120), start_bar=1, count_in_bars=count_in)

    assert timeline.start_bar == start_bar
    assert timeline.click_plan().onsets[0].frame == 0
    assert len(timeline.click_plan().onsets) == count_in * 4 + 40


def test_no_count_in_leaves_the_bars_before_silent() -> None:
    assert plan(TempoMap.constant(120), count_in_bars=0).click_plan().onsets[0].frame == 192_000


def test_whole_bars_of_pickup_keep_their_own_time() -> None:
    """A bar 0 of 3/4 at 60, 3 s long, before bar one at 4 s: the bars before it are as long.

    The count-in of two bars leads to bar 0, so bar one is the session's bar 4.
    """
    tempo_map = TempoMap.from_json(
        {
            "segments": [
                {"bar": 0, "time_s": 1.0, "bpm": 60, "meter": "3/4"},
                {"bar": 1, "time_s": 4.0, "bpm": 120, "meter": "4/4"},
            ]
        }
    )
    timeline = plan(tempo_map)

    assert (timeline.start_bar, timeline.bar_one_frame) == (4, 9 * 48_000)
    assert [float(timeline.session_map.time_of_bar(bar)) for bar in range(1, 6)] == [0.0, 3.0, 6.0, 9.0, 11.0]
    onsets = [onset.frame / 48_000 for onset in timeline.click_plan().onsets[:11]]
    assert onsets == [0, 1, 2, 3, 4, 5, 6, 7, 8, 9.0, 9.5]


def test_a_short_pickup_lies_in_the_last_bar_before() -> None:
    tempo_map = TempoMap.from_json(
        {
            "segments": [
                {"bar": 0, "time_s": 1.0, "bpm": 120, "meter": "1/4"},
                {"bar": 1, "time_s": 1.5, "bpm": 120, "meter": "4/4"},
            ]
        }
    )
    timeline = plan(tempo_map)

    assert (timeline.start_bar, timeline.bar_one_frame, timeline.shift_frames) == (3, 192_000, 120_000)
    assert [onset.frame for onset in timeline.click_plan().onsets[:9]] == [24_000 * beat for beat in range(9)]


def file_with_sound_from(tmp_path: Path, start_s: float) -> Path:
    samples = np.zeros((12 * 48_000, 1))
    samples[round(start_s * 48_000) :] = 0.1
    return write_sound(tmp_path / "keys.wav", samples)


@pytest.mark.parametrize(
    ("sound_from_s", "start_bar", "shift_s"),
    # Bar one at 8 s, wanted at 4 s: 4 s are left out if silent. Sound from 3 s on needs a bar more, from 0 two.
    [(4.0, 3, -4), (3.0, 4, -2), (0.0, 5, 0)],
)
def test_silence_before_may_go_and_sound_may_not(
    tmp_path: Path, sound_from_s: float, start_bar: int, shift_s: int
) -> None:
    path = file_with_sound_from(tmp_path, sound_from_s)
    timeline = plan_session([path], TempoMap.constant(120, "4/4", 8), SessionSettings())

    assert (timeline.start_bar, float(timeline.shift_s)) == (start_bar, shift_s)
    assert timeline.frames == (12 + shift_s) * 48_000


def test_a_song_that_begins_free_is_not_counted_in() -> None:
    tempo_map = TempoMap.from_json(
        {
            "segments": [
                {"bar": 1, "time_s": 0.0, "bpm": 120, "meter": "4/4", "free": True},
                {"bar": 5, "time_s": 8.0, "bpm": 120, "meter": "4/4"},
            ]
        }
    )
    timeline = plan(tempo_map, start_bar=1)

    assert timeline.start_bar == 1
    assert timeline.click_plan().onsets[0].frame == 6 * 48_000  # one bar before 8 s


def test_times_since_midnight() -> None:
    """01:00:00 at 48 kHz is 172 800 000 samples (arithmetic)."""
    assert plan(TempoMap.constant(120), clock_start_h=1).time_reference_frames == 172_800_000


def test_it_travels_as_json() -> None:
    timeline = plan(TempoMap.constant("112.3", "6/8", 1), click=ClickStyle(sound="wood"))

    assert Timeline.from_json(timeline.to_json()) == timeline


@pytest.mark.parametrize(
    ("tempo_map", "start_bar"), [(TempoMap.constant(120), 0), (TempoMap.constant(999, "1/4", 900), 1)]
)
def test_what_no_session_has(tmp_path: Path, tempo_map: TempoMap, start_bar: int) -> None:
    path = file_with_sound_from(tmp_path, 0.0)
    with pytest.raises(MapError, match=r"start bar|too far"):
        plan_session([path], tempo_map, SessionSettings(start_bar=start_bar))
