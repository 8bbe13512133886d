"""The draft as a whole: its parts agree, and bad input gives an empty draft instead of a wrong one."""

from __future__ import annotations

import numpy as np
import pytest

from analysis.core.chart_draft import ChartDraft, MeterChange
from analysis.form.bar_clock import BarClock
from analysis.form.draft import Part, draft_chart
from analysis.maps.tempo_map import MeterSign
from tests.analysis.playing import features_of, placed, pluck


def part(bars: int, bar_s: float = 0.5) -> Part:
    """Every bar has a note of its own: nothing comes again."""
    rng = np.random.default_rng(4)
    notes = [(bar * bar_s, pluck(int(rng.integers(0, 36)), seconds=0.15)) for bar in range(bars)]
    return Part("keys.wav", features_of(placed(notes, bars * bar_s + 0.5)))


def clock(bars: int, bar_s: float = 0.5) -> BarClock:
    return BarClock.even(np.asarray(np.arange(bars + 1) * bar_s, np.float64))


@pytest.mark.parametrize("bars", [6, 600])
def test_sections_hold_every_bar_of_short_and_long_songs_without_repetition(bars: int) -> None:
    draft = draft_chart([part(bars, 0.1)], clock(bars, 0.1))

    assert draft.bars == bars == sum(section.bars for section in draft.sections)
    assert [one.start_bar for one in draft.sections] == [
        1 + sum(two.bars for two in draft.sections[:index]) for index in range(len(draft.sections))
    ]


def test_a_meter_that_changes_every_bar_is_drafted_and_said() -> None:
    signs = [MeterSign.parse(sign) for sign in ("4/4", "3/4", "5/4", "2/4") * 5]
    lines = np.concatenate([[0.0], np.cumsum([sign.upper * 0.2 for sign in signs])])
    changing = BarClock(lines, tuple(signs), np.zeros(len(signs), np.bool_))
    draft = draft_chart([part(28)], changing)

    assert draft.meters[:2] == (MeterChange(1, "4/4"), MeterChange(2, "3/4"))
    assert sum(section.bars for section in draft.sections) == len(signs)


def test_free_passages_are_drafted_like_other_bars() -> None:
    free = BarClock(np.asarray(np.arange(13) * 0.5, np.float64), (MeterSign(4, 4),) * 12, np.arange(12) < 4)

    assert sum(section.bars for section in draft_chart([part(12)], free).sections) == 12


def test_silence_has_bars_and_no_sections() -> None:
    silent = Part("keys.wav", features_of(np.zeros((48_000, 1))))

    assert draft_chart([silent], clock(2)) == ChartDraft(
        bars=2, downbeats_s=(0.0, 0.5, 1.0), meters=(MeterChange(1, "4/4"),)
    )


def test_a_draft_travels_as_json() -> None:
    draft = draft_chart([part(12)], clock(12))

    assert ChartDraft.from_json(draft.to_json()) == draft
    assert {"bars", "downbeats_s", "sections", "hits", "stops", "grooves", "fills", "ending"} <= set(draft.to_json())
