"""Positions from exact tempi."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

import pytest

from analysis.core.reports import MapSegment
from analysis.maps.tempo_map import FreeStretch, MeterSign, Segment, TempoMap, TempoMapError

# Derived: round((n - 1) * 4 * 60 * rate / bpm), each from the exact value.
BAR_STARTS = {
    (112, 48_000): {2: 102_857, 3: 205_714, 4: 308_571, 5: 411_429, 8: 720_000, 9: 822_857, 17: 1_645_714},
    ("92.5", 48_000): {2: 124_541, 3: 249_081, 5: 498_162, 9: 996_324, 38: 4_608_000},
    (112, 44_100): {2: 94_500},
    (96, 44_100): {2: 110_250},
    (174, 48_000): {2: 66_207},
}


@pytest.mark.parametrize("case", BAR_STARTS)
def test_every_bar_starts_on_the_frame_that_exact_arithmetic_gives(case: tuple[str | int, int]) -> None:
    bpm, rate_hz = case
    tempo_map = TempoMap.constant(str(bpm))

    assert {bar: tempo_map.frame_of_bar(bar, rate_hz) for bar in BAR_STARTS[case]} == BAR_STARTS[case]


def test_rounded_beats_are_never_added_up() -> None:
    # Derived: adding up the rounded beat of 25 714 frames would be 128 frames short here.
    assert TempoMap.constant(112).frame_of_bar(113, 48_000) == 11_520_000


def test_reads_back_what_it_wrote_exactly() -> None:
    tempo_map = TempoMap.constant(Fraction(2801, 25), "6/8", Fraction(1, 3))

    again = TempoMap.from_json(tempo_map.to_json())

    assert again.segments[0].bpm == Fraction(2801, 25)
    assert again.segments[0].meter == MeterSign(6, 8)


def test_a_tempo_that_no_decimal_holds_travels_as_a_fraction() -> None:
    tempo_map = TempoMap.constant(Fraction(340, 3))

    assert tempo_map.to_json()["segments"][0]["bpm_exact"] == "340/3"
    assert TempoMap.from_json(tempo_map.to_json()) == tempo_map


def test_a_rounded_time_of_the_next_segment_does_not_bend_the_tempo() -> None:
    data = {
        "bar_one_s": 0.0,
        "segments": [
            {"bar": 1, "time_s": 0.0, "bpm": 112.0, "meter": "4/4"},
            {"bar": 9, "time_s": 17.142857, "bpm": 120.0, "meter": "3/4"},
        ],
    }

    tempo_map = TempoMap.from_json(data)

    assert tempo_map.segments[0].bpm == 112
    assert tempo_map.time_of_bar(9) == Fraction(120, 7)
    assert tempo_map.time_of_bar(10) == Fraction(120, 7) + Fraction(3, 2)


def test_anchors_win_over_a_tempo_that_does_not_lead_to_them() -> None:
    data = {
        "segments": [
            {"bar": 1, "time_s": 1.0, "bpm": 120.0, "meter": "4/4"},
            {"bar": 3, "time_s": 5.1, "bpm": 120.0, "meter": "4/4"},
        ]
    }

    tempo_map = TempoMap.from_json(data)

    assert tempo_map.time_of_bar(3) == Fraction(51, 10)
    assert tempo_map.time_of_bar(2) == Fraction(305, 100)


def test_finds_bar_and_beat_at_a_time_before_and_after_bar_one() -> None:
    tempo_map = TempoMap.constant(120, "4/4", 4)

    assert (tempo_map.bar_beat_at(4.0).bar, tempo_map.bar_beat_at(4.0).beat) == (1, 0.0)
    assert (tempo_map.bar_beat_at(7.25).bar, tempo_map.bar_beat_at(7.25).beat) == (2, 2.5)
    assert (tempo_map.bar_beat_at(3.5).bar, tempo_map.bar_beat_at(3.5).beat) == (0, 3.0)


def test_six_eight_is_felt_in_dotted_quarters() -> None:
    sign = MeterSign.parse("6/8")

    assert (sign.beats_per_bar, sign.quarters_per_beat) == (2, Fraction(3, 2))
    # Derived: at 48 kHz a dotted quarter at 72 lasts 40 000 frames, a 6/8 bar 80 000.
    assert TempoMap.constant(72, "6/8").frame_of_bar(2, 48_000) == 80_000


@pytest.mark.parametrize("text", ["", "4", "4/", "/4", "0/4", "4/3", "-3/4", "4/4/4", "999/4"])
def test_refuses_a_meter_that_is_none(text: str) -> None:
    with pytest.raises(TempoMapError):
        MeterSign.parse(text)


@pytest.mark.parametrize("text", ["33/4", "99/4", "4/64"])
def test_says_why_a_bar_cannot_be_counted(text: str) -> None:
    """House choice: 32 beats are the longest bar. The sentence names the meter that was given."""
    segments = [{"bar": 1, "time_s": 0, "bpm": 120, "meter": text}]

    with pytest.raises(TempoMapError, match=f"{text} is not a meter: "):
        TempoMap.from_json({"segments": segments})
    assert MeterSign.parse("32/4").beats_per_bar == 32


@pytest.mark.parametrize(
    "data",
    [
        {},
        {"segments": []},
        {"segments": [{"bar": 1, "time_s": 0, "bpm": 0, "meter": "4/4"}]},
        {"segments": [{"bar": 1, "time_s": 0, "bpm": 1e9, "meter": "4/4"}]},
        {"segments": [{"bar": 1, "time_s": 0, "bpm": "abc", "meter": "4/4"}]},
        {
            "segments": [
                {"bar": 2, "time_s": 0, "bpm": 120, "meter": "4/4"},
                {"bar": 1, "time_s": 9, "bpm": 120, "meter": "4/4"},
            ]
        },
    ],
)
def test_refuses_a_map_that_cannot_be(data: dict[str, object]) -> None:
    with pytest.raises(TempoMapError):
        TempoMap.from_json(data)


def free_map() -> TempoMap:
    """Bars 1 to 4 at 120; 5 to 8 free for 10 s; from bar 9, at 18 s, at 120 again, where each bar of 4/4 lasts 2 s."""
    return TempoMap.from_json(
        {
            "segments": [
                {"bar": 1, "time_s": 0, "bpm": 120, "meter": "4/4"},
                {"bar": 5, "time_s": 8, "bpm": 90, "meter": "4/4", "free": True},
                {"bar": 9, "time_s": 18, "bpm": 120, "meter": "4/4"},
            ]
        }
    )


def test_a_free_passage_is_counted_but_has_no_grid() -> None:
    """The stated 90 does not lead to the next segment: 16 beats in 10 s are 96."""
    tempo_map = free_map()

    assert tempo_map.segments[1].bpm == 96
    assert tempo_map.time_of_bar(9) == 18
    assert [bar for bar in range(12) if tempo_map.is_free_bar(bar)] == [5, 6, 7, 8]
    assert [tempo_map.is_free_at(time_s) for time_s in (-1, 7.999, 8, 17.999, 18)] == [False, False, True, True, False]
    assert tempo_map.free_stretches == (FreeStretch(5, Fraction(8), 9, Fraction(18)),)


def test_free_segments_that_follow_on_one_another_are_one_stretch() -> None:
    four = MeterSign(4, 4)
    segments = (
        Segment(1, Fraction(0), Fraction(120), four, free=True),
        Segment(3, Fraction(4), Fraction(60), four, free=True),
        Segment(5, Fraction(12), Fraction(120), four),
        Segment(7, Fraction(16), Fraction(120), four, free=True),
    )

    assert TempoMap(segments).free_stretches == (
        FreeStretch(1, Fraction(0), 5, Fraction(12)),
        FreeStretch(7, Fraction(16)),
    )
    assert TempoMap(segments).is_free_bar(0)


def test_json_says_free_only_where_it_is() -> None:
    tempo_map = free_map()
    written = tempo_map.to_json()

    assert [item.get("free") for item in written["segments"]] == [None, True, None]
    assert TempoMap.from_json(written) == tempo_map
    records = [MapSegment(1, 0.0, 120.0, "4/4"), MapSegment(5, 8.0, 96.0, "4/4", free=True)]
    assert [item.to_json().get("free") for item in records] == [None, True]
    assert [MapSegment.from_json(item.to_json()) for item in records] == records
    assert TempoMap.from_segments(records).is_free_bar(5)


def test_a_place_in_its_rounding_keeps_what_is_free() -> None:
    """112 BPM for 4 bars ends at 8.5714285… s; written down with six digits it is the same point."""
    data = {
        "segments": [
            {"bar": 1, "time_s": 0, "bpm": 112, "meter": "4/4"},
            {"bar": 5, "time_s": 8.571429, "bpm": 112, "meter": "4/4", "free": True},
        ]
    }

    assert TempoMap.from_json(data).segments[1].free
    assert TempoMap.from_json(data).time_of_bar(5) == Fraction(60, 7)


def test_a_free_passage_counts_as_enough_bars_for_a_tempo_to_lead_through_it() -> None:
    """Set Tempo reaches 16.777215 s a quarter (SMF 1.1, three bytes): a bar of 4/4 lasts 67.1 s at most."""
    four = MeterSign(4, 4)
    start = Segment(1, Fraction(0), Fraction(60 * 4, 67), four, free=True)

    assert TempoMap((start, Segment(2, Fraction(67), Fraction(120), four))).is_free_bar(1)
    with pytest.raises(TempoMapError, match=r"bar 1 is a free passage .* more bars"):
        TempoMap((replace(start, bpm=Fraction(60 * 4, 68)), Segment(2, Fraction(68), Fraction(120), four)))
