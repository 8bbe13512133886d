from dataclasses import replace

import pytest

from bench.tempo.known import Known
from bench.tempo.scores import Reading, score
from bench.tempo.why import what_is_wrong

BEATS_S = tuple(1 + number / 2 for number in range(64))  # 120 BPM, 4/4, bar one at 1 s
SONG = Known("song", "drums", 120.0, beats_s=BEATS_S, downbeats_s=BEATS_S[::4], bar_one_s=1.0, meter="4/4")
RIGHT = Reading(
    bpm=120.0,
    beats_s=BEATS_S,
    downbeats_s=BEATS_S[::4],
    bar_one_s=1.0,
    meter="4/4",
    kind="constant",
    offered_bpm=(120.0,),
    confidences=(0.9, 0.9, 0.9),
)


def faults(reading: Reading, song: Known = SONG) -> list[str]:
    return what_is_wrong(song, reading, score(song, reading))


def moved(seconds: float) -> Reading:
    return replace(
        RIGHT,
        beats_s=tuple(time + seconds for time in BEATS_S),
        downbeats_s=tuple(time + seconds for time in BEATS_S[::4]),
        bar_one_s=1 + seconds,
    )


def test_nothing_is_wrong_with_the_truth() -> None:
    assert faults(RIGHT) == []


@pytest.mark.parametrize(
    ("bpm", "offered", "why"),
    [
        (240.0, (240.0, 120.0), "level x2 (240 for 120), the true one offered"),
        (80.0, (80.0,), "level x2/3 (80 for 120), the true one not offered"),
        (240.2, (240.2, 120.1), "level x2 (240.2 for 120), and +0.100 BPM off that, the true one offered"),
        (120.05, (120.05,), "120.050 for 120 (+0.050 BPM, 25 ms a minute)"),
        (97.0, (97.0,), "tempo 97 for 120, no simple ratio, the true one not offered"),
        (None, (), "no tempo"),
    ],
)
def test_says_how_the_tempo_is_wrong(bpm: float | None, offered: tuple[float, ...], why: str) -> None:
    assert faults(replace(RIGHT, bpm=bpm, offered_bpm=offered)) == [why]


def test_says_by_how_many_beats_the_bars_are_off() -> None:
    late = replace(RIGHT, downbeats_s=BEATS_S[1::4], bar_one_s=1.5)

    assert faults(late) == ["bars begin 1 beats late", "bar one +1.00 beats (+0.500 s)"]


def test_says_what_the_meter_was_read_as() -> None:
    assert faults(replace(RIGHT, meter="3/4")) == ["4/4 read as 3/4"]


def test_tells_half_a_beat_from_some_milliseconds() -> None:
    assert faults(moved(0.25))[0] == "half a beat off"
    assert faults(moved(0.03)) == ["beats +30 ms in the middle (F20 0.00)"]
    assert faults(moved(0.015)) == ["bar one +15 ms"]


def test_bars_and_beats_that_are_right_in_part() -> None:
    half = replace(RIGHT, beats_s=BEATS_S[::2], downbeats_s=BEATS_S[:32:4])

    assert [why.split(" (")[0] for why in faults(half)] == ["beats right in part", "bars right in part"]
    assert faults(replace(RIGHT, downbeats_s=())) == ["no bar lines"]


def test_a_drift_called_constant() -> None:
    drift = replace(SONG, kind="drift", is_constant=False)

    assert faults(RIGHT, drift) == ["drift called constant"]


def test_findings_and_clicks_missed_or_made_up() -> None:
    stems = replace(SONG, due_findings=frozenset({"start-differs"}), are_clicks=(True, False))
    reading = replace(RIGHT, findings=("click-differs",), are_clicks=(False, True))

    assert faults(reading, stems) == [
        "start-differs missed",
        "click-differs without cause",
        "click not recognised",
        "taken for a click",
    ]
