"""Stated tempi and meters weigh, each source once."""

from __future__ import annotations

from typing import Any

from analysis.bars.readings import METER_KINDS, Reading
from analysis.bars.statements import BRIEF_METER, BRIEF_START, BRIEF_TEMPO, NAMED_TEMPO, gather_statements
from analysis.core.reports import Brief, FileReport


def reading(bpm: float, sign: str = "4/4") -> Reading:
    meter = next(kind for kind in METER_KINDS if kind.sign == sign)
    return Reading(0, 60 / bpm, 0.0, meter, 0.0)


def file(**metadata: Any) -> FileReport:
    return FileReport(name="a.wav", sha256="a", metadata=metadata)


def test_a_reading_that_agrees_with_the_brief_weighs_more() -> None:
    statements = gather_statements(Brief(bpm=112, meter="3/4"), [])

    assert statements.weight(reading(112.1, "3/4")) == BRIEF_TEMPO * BRIEF_METER
    assert statements.weight(reading(112.1)) == BRIEF_TEMPO
    assert statements.weight(reading(56)) == 1


def test_ten_stems_named_alike_say_it_once() -> None:
    statements = gather_statements(Brief(), [file(name_bpm=112.0)] * 10)

    assert statements.weight(reading(112)) == NAMED_TEMPO


def test_the_brief_is_the_stated_tempo_when_names_differ() -> None:
    assert gather_statements(Brief(bpm=100), [file(name_bpm=112.0)]).bpm == 100


def test_a_broken_midi_map_states_nothing() -> None:
    assert gather_statements(Brief(), [file(midi_map={"segments": []})]).tempo_map is None
    assert gather_statements(Brief(), [file(midi_map="x")]).tempo_map is None


def test_twelve_eight_is_four_beats_in_thirds() -> None:
    statements = gather_statements(Brief(meter="12/8"), [])

    assert statements.sign_for("4/4") == "12/8"
    assert statements.sign_for("3/4") == "3/4"
    assert statements.weight(reading(70)) == BRIEF_METER


def test_files_that_start_at_bar_one_have_their_first_beat_on_a_bar() -> None:
    on_bar, later = reading(100), Reading(0, 0.6, 0.0, METER_KINDS[0], 1.2)

    assert gather_statements(Brief(starts="bar-one"), []).weight(on_bar) == BRIEF_START
    assert gather_statements(Brief(starts="bar-one"), []).weight(later) == 1
    assert gather_statements(Brief(starts="pickup"), []).weight(later) == BRIEF_START
    assert gather_statements(Brief(), []).weight(on_bar) == 1
