from dataclasses import replace

import pytest

from bench.tempo.answers import Answer
from bench.tempo.known import Known
from bench.tempo.scores import Reading, score
from bench.tempo.tables import Scored, print_calibration, print_comparison, print_ours

BEATS_S = tuple(1 + number / 2 for number in range(64))
SONG = Known("song", "drums", 120.0, beats_s=BEATS_S, downbeats_s=BEATS_S[::4], bar_one_s=1.0, meter="4/4")
RIGHT = Reading(
    bpm=120.0, beats_s=BEATS_S, downbeats_s=BEATS_S[::4], bar_one_s=1.0, meter="4/4", kind="constant",
    interval_bpm=(119.99, 120.01), confidences=(0.99, 0.97, 0.96),
)  # fmt: skip
LATE = replace(RIGHT, downbeats_s=BEATS_S[1::4], bar_one_s=1.5, confidences=(0.99, 0.97, 0.72))


def scored(*readings: Reading) -> list[Scored]:
    return [Scored(SONG, Answer(reading, 0.1, 100), score(SONG, reading) | {"xRT": 300.0}) for reading in readings]


def row(printed: str, start: str) -> list[str]:
    return next(line for line in printed.splitlines() if line.strip().startswith(start)).split()


def test_tools_stand_below_each_other_under_each_heading(capsys: pytest.CaptureFixture[str]) -> None:
    print_comparison({"kitpost": scored(RIGHT), "other": scored(Reading(bpm=60.3, beats_s=()))})
    printed = capsys.readouterr().out

    assert "drums (1)" in printed
    assert row(printed, "kitpost  ")[1:9] == ["1.00"] * 8
    # 60.3 doubled is 120.6: up to level within 1 %, and no closer.
    assert row(printed, "other  ")[1:9] == ["0.00"] * 4 + ["1.00", "1.00", "0.00", "0.00"]


def test_each_claim_is_counted_under_its_own_confidence(capsys: pytest.CaptureFixture[str]) -> None:
    print_calibration(scored(RIGHT, LATE))
    printed = capsys.readouterr().out

    assert row(printed, "0.95 to 1.00")[3:] == ["1.00", "(2)", "1.00", "(2)", "1.00", "(1)", "1.00", "(1)"]
    assert row(printed, "0.70 to 0.80")[3:] == ["-", "-", "0.00", "(1)", "0.00", "(1)"]
    assert "in 1.000 of 2 songs" in printed


def test_clicks_found_and_made_up_are_counted(capsys: pytest.CaptureFixture[str]) -> None:
    song = replace(SONG, are_clicks=(True, False))
    reading = replace(RIGHT, are_clicks=(True, True))
    print_ours([Scored(song, Answer(reading, 0.1, 100), score(song, reading))])

    assert "clicks: 1 of 1 recognised, 1 of 1 other files taken for one" in capsys.readouterr().out
