"""The facts at the top of a song's sheet: what holds, how sure it is, and what the client wrote."""

from __future__ import annotations

from decimal import Decimal

import pytest

from analysis.core.reports import FileReport
from analysis.maps.tempo_map import TempoMap
from portal.bookings.models import Brief
from portal.intake.desk.sheet_facts import Fact, facts_of, map_tempo
from tests.factories import measured_song


def by_label(facts: tuple[Fact, ...]) -> dict[str, Fact]:
    return {fact.label: fact for fact in facts}


def test_what_was_measured_stands_beside_what_the_client_wrote() -> None:
    brief = Brief(bpm=Decimal("111.5"), meter="6/8")
    reports = [
        FileReport(
            name="bass.wav", sha256="a", sample_rate_hz=48_000, bit_depth=24, duration_s=61.0, loudness_lufs=-14.0
        ),
        FileReport(
            name="keys.wav", sha256="b", sample_rate_hz=44_100, bit_depth=24, duration_s=60.0, loudness_lufs=-20.0
        ),
    ]
    facts = by_label(facts_of(measured_song().song, reports, brief, None))

    assert facts["Tempo"] == Fact("Tempo", "112 bpm", "97 % sure", "111.5 bpm")
    assert facts["Meter"] == Fact("Meter", "4/4", "90 % sure", "6/8")
    assert facts["Bar one"].value == "0:02.000"
    assert facts["Length"] == Fact("Length", "1:01", "the longest of unequal files")
    assert facts["Rate and depth"].value == "44.1 kHz and 48 kHz, 24 bit"
    assert (facts["Loudness"].value, facts["Loudness"].detail) == ("−14.0\N{NO-BREAK SPACE}LUFS", "bass.wav")


def test_the_mix_gives_the_loudness_where_one_is_named_so() -> None:
    reports = [
        FileReport(name="bass.wav", sha256="a", loudness_lufs=-9.0),
        FileReport(name="Rough Mix.wav", sha256="b", loudness_lufs=-16.0),
    ]
    assert by_label(facts_of(None, reports, None, None))["Loudness"].detail == "Rough Mix.wav"


def test_what_is_approved_comes_before_what_is_measured() -> None:
    facts = by_label(facts_of(measured_song().song, [], None, TempoMap.constant(98, "3/4", 1)))

    assert [(facts[label].value, facts[label].is_approved) for label in ("Tempo", "Meter", "Bar one")] == [
        ("98 bpm", True),
        ("3/4", True),
        ("0:01.000", True),
    ]


def test_without_a_measurement_nothing_is_claimed() -> None:
    assert {fact.value for fact in facts_of(None, [], None, None)} == {"–"}


@pytest.mark.parametrize(
    ("meter", "words"),
    [
        ("4/4", "70 bpm"),
        ("6/8", "70 bpm (dotted quarter)"),
        ("12/8", "70 bpm (dotted quarter)"),
        ("7/8", "70 bpm (eighth)"),
        ("2/2", "70 bpm (half)"),
        ("9/16", "70 bpm (dotted eighth)"),
    ],
)
def test_a_tempo_names_the_note_it_counts(meter: str, words: str) -> None:
    """The beat that is felt: C-7 of the trade's handbook rules, dotted quarter in compound time."""
    assert map_tempo(TempoMap.constant(70, meter)) == words
