"""MusicXML 4.0: against its schema, as its documentation says, and read back by music21, which is not ours."""

from __future__ import annotations

import warnings
from fractions import Fraction
from typing import Any
from xml.etree import ElementTree as ET

import pytest
from hypothesis import HealthCheck, given, settings

from analysis.chart.document import CODA, DRUMS, REST, Bar, Chart, Jump, Span, Tempo
from analysis.engraving.musicxml import musicxml_text
from analysis.engraving.road_words import fill_words, jump_words
from tests.analysis.chart.by_hand import BY_HAND, ROCK_GROOVE, six_eight, straight_rock, waltz
from tests.analysis.chart.charts import FOUR_FOUR, SIX_EIGHT, bar, ds_al_coda, one_section
from tests.analysis.chart.test_document import CHARTS
from tests.analysis.engraving.schema import faults


def _root(chart: Chart) -> ET.Element:
    return ET.fromstring(musicxml_text(chart))


def _read_back(chart: Chart) -> Any:
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        from music21 import converter

        score: Any = converter.parse(musicxml_text(chart), format="musicxml")
        return score.parts[0]


@pytest.mark.parametrize("name", BY_HAND)
def test_a_chart_by_hand_is_valid(name: str) -> None:
    assert faults(musicxml_text(BY_HAND[name]())) == []


@given(CHARTS)
@settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.too_slow])
def test_any_chart_is_valid(chart: Chart) -> None:
    assert faults(musicxml_text(chart)) == []


def test_the_schema_finds_a_fault() -> None:
    assert faults(musicxml_text(straight_rock()).replace("<voice>1</voice>", "<voic>1</voic>", 1))


@pytest.mark.parametrize("name", BY_HAND)
def test_another_library_reads_the_same_bars(name: str) -> None:
    chart = BY_HAND[name]()

    measures = list(_read_back(chart).getElementsByClass("Measure"))

    assert len(measures) == len(chart.bars)
    for measure, written in zip(measures, chart.bars, strict=True):
        assert measure.barDuration.quarterLength == written.meter.upper * Fraction(4, written.meter.lower)
        filled = max((one.offset + one.quarterLength for one in measure.recurse().notesAndRests), default=0)
        assert filled == measure.barDuration.quarterLength


def test_another_library_plays_the_same_repeats() -> None:
    # Two times eight bars of verse in the rock chart; the waltz has endings and three times eight.
    assert len(list(_read_back(straight_rock()).expandRepeats().getElementsByClass("Measure"))) == 24 + 8
    assert len(list(_read_back(waltz()).expandRepeats().getElementsByClass("Measure"))) == 7 + 7 + 16 + 8 + 4 - 8 + 8


def test_another_library_finds_unpitched_notes_and_rests() -> None:
    from music21 import note, percussion

    measure = list(_read_back(straight_rock()).getElementsByClass("Measure"))[4]
    heads: list[Any] = [
        one for one in measure.recurse().notes if isinstance(one, (note.Unpitched, percussion.PercussionChord))
    ]
    members: list[list[Any]] = [
        list(one.notes) if isinstance(one, percussion.PercussionChord) else [one] for one in heads
    ]
    names = {member.displayName for some in members for member in some}

    assert names == {"F4", "C5", "G5"}  # kick, snare, hat
    first = next(iter(_read_back(straight_rock()).getElementsByClass("Measure")))
    assert [type(one).__name__ for one in first.notesAndRests] == ["Rest"]


def test_places_and_midi_keys_of_kick_snare_and_hat() -> None:
    # MusicXML 4.0, midi-unpitched: 1 to 128, General MIDI's key plus one: 37, 39, 43.
    root = _root(one_section(Bar(FOUR_FOUR, shows=DRUMS, notes=ROCK_GROOVE), tempo=Tempo(Fraction(112))))

    assert root.find(".//pitch") is None
    assert root.findtext(".//clef/sign") == "percussion"
    keys = {one.get("id"): one.findtext("midi-unpitched") for one in root.iter("midi-instrument")}
    assert keys == {"P1-kick": "37", "P1-snare": "39", "P1-hat": "43"}
    places = {
        one.find("instrument").get("id"): (  # type: ignore[union-attr]
            one.findtext("unpitched/display-step", "") + one.findtext("unpitched/display-octave", ""),
            one.findtext("notehead"),
        )
        for one in root.iter("note")
        if one.find("instrument") is not None
    }
    assert places == {"P1-kick": ("F4", None), "P1-snare": ("C5", None), "P1-hat": ("G5", "x")}
    assert root.find(".//sound[@tempo]").get("tempo") == "112"  # type: ignore[union-attr]


def test_slashes_start_and_stop() -> None:
    root = _root(one_section(bar(), bar(), bar(stops=(Span(Fraction(1), Fraction(4)),)), bar()))

    kinds = [
        (measure.get("number"), one.get("type")) for measure in root.iter("measure") for one in measure.iter("slash")
    ]
    assert kinds == [("1", "start"), ("3", "stop"), ("4", "start")]


def test_twelve_bars_of_rest_are_twelve_measures() -> None:
    root = _root(one_section(*[Bar(FOUR_FOUR, shows=REST)] * 12))

    assert [one.text for one in root.iter("multiple-rest")] == ["12"]
    assert len(list(root.iter("measure"))) == 12


def test_a_dotted_beat_is_printed_and_sound_counts_quarters() -> None:
    # Dotted quarter = 72 is 108 quarters a minute.
    root = _root(six_eight())

    assert root.findtext(".//metronome/beat-unit") == "quarter"
    assert root.find(".//metronome/beat-unit-dot") is not None
    assert root.findtext(".//metronome/per-minute") == "72"
    assert root.find(".//sound[@tempo]").get("tempo") == "108"  # type: ignore[union-attr]


def test_signs_have_their_sounds() -> None:
    root = _root(ds_al_coda())

    sounds = [
        (measure.get("number"), name, value)
        for measure in root.iter("measure")
        for one in measure.iter("sound")
        for name, value in one.attrib.items()
        if name != "tempo"
    ]
    assert sounds == [
        ("5", "segno", "segno"),
        ("21", "tocoda", "coda"),
        ("25", "dalsegno", "segno"),
        ("26", "coda", "coda"),
    ]
    assert [one.get("type") for one in root.iter("ending")] == ["start", "stop", "start", "discontinue"]


def test_a_persons_words_are_data() -> None:
    chart = Chart('<b> & "Kettle" ]]>', one_section(Bar(SIX_EIGHT)).sections, artist="<!-- & -->")

    root = _root(chart)

    assert root.findtext("movement-title") == '<b> & "Kettle" ]]>'
    assert root.findtext("identification/creator") == "<!-- & -->"
    assert faults(musicxml_text(chart)) == []


def test_the_same_chart_gives_the_same_text() -> None:
    assert musicxml_text(straight_rock()) == musicxml_text(straight_rock())


@pytest.mark.parametrize(
    ("beat", "beats", "words"),
    [
        ("1", "4", "fill"),
        ("3", "2", "fill 3–4"),
        ("4", "1", "fill 4"),
        ("7/2", "3/2", "fill 3&–4"),
        ("9/2", "1/2", "fill 4&"),
    ],
)
def test_a_fill_names_its_beats(beat: str, beats: str, words: str) -> None:
    assert fill_words(Span(Fraction(beat), Fraction(beats)), bar()) == words


def test_a_jump_in_words() -> None:
    assert jump_words(Jump(until=CODA, repeats=True)) == "D.S. al Coda with repeats"
    assert jump_words(Jump(to="start")) == "D.C."
