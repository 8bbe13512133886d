"""A chart begun from MusicXML: our own files come back with the same road, others' are read as players read them."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

import pytest

from analysis.chart.document import (
    CODA,
    COMMON_TIME,
    REPEAT_1,
    REST,
    SLASHES,
    START,
    Bar,
    Chart,
    Hit,
    Jump,
    Section,
)
from analysis.chart.roadmap import played_order
from analysis.core.errors import ChartError
from analysis.engraving.musicxml import musicxml_text
from analysis.engraving.musicxml_reading import MOST_BYTES, read_musicxml
from tests.analysis.chart.by_hand import BY_HAND
from tests.analysis.chart.charts import ds_al_coda


def back(chart: Chart) -> Chart:
    return read_musicxml(musicxml_text(chart).encode()).chart


@pytest.mark.parametrize("name", BY_HAND)
def test_our_own_file_comes_back_with_the_same_road(name: str) -> None:
    chart = BY_HAND[name]()

    found = back(chart)

    assert played_order(found).order == played_order(chart).order
    assert [bar.road for bar in found.bars] == [bar.road for bar in chart.bars]
    assert [bar.meter for bar in found.bars] == [bar.meter for bar in chart.bars]
    assert [(one.letter, one.name, len(one.bars)) for one in found.sections] == [
        (one.letter, one.name, len(one.bars)) for one in chart.sections
    ]
    assert (found.title, found.artist, found.first_bar) == (chart.title, chart.artist, chart.first_bar)
    assert found.tempo is not None
    assert chart.tempo is not None
    assert float(found.tempo.bpm) == pytest.approx(float(chart.tempo.bpm), abs=0.01)  # written to two decimals


def test_a_ds_al_coda_of_52_bars_comes_back() -> None:
    # Worked through by hand in test_roadmap: common practice.
    assert len(played_order(back(ds_al_coda())).order) == 52
    assert len(played_order(back(ds_al_coda(repeats=True))).order) == 60


def score(*measures: str, parts: str = '<score-part id="P1"><part-name>Piano</part-name></score-part>') -> bytes:
    """As another program may write it: what a measure holds, by number."""
    written = "".join(f'<measure number="{number}">{text}</measure>' for number, text in enumerate(measures, 1))
    return (
        '<?xml version="1.0" encoding="UTF-8"?><!DOCTYPE score-partwise PUBLIC "-//Recordare//DTD MusicXML 4.0 '
        'Partwise//EN" "http://www.musicxml.org/dtds/partwise.dtd">'
        f'<score-partwise version="4.0"><work><work-title>Cold Bus</work-title></work><part-list>{parts}</part-list>'
        f'<part id="P1">{written}</part></score-partwise>'
    ).encode()


NOTE = "<note><pitch><step>C</step><octave>4</octave></pitch><duration>4</duration></note>"
FOUR = "<attributes><time><beats>4</beats><beat-type>4</beat-type></time></attributes>"


def words(text: str) -> str:
    return f"<direction><direction-type><words>{text}</words></direction-type></direction>"


def test_a_file_made_by_hand() -> None:
    content = score(
        FOUR + "<direction><direction-type><rehearsal>A</rehearsal></direction-type></direction>" + NOTE,
        '<barline location="left"><repeat direction="forward"/></barline>' + NOTE + words("brushes"),
        '<barline location="left"><ending number="1" type="start"/></barline>' + NOTE
        + '<barline location="right"><ending number="1" type="stop"/><repeat direction="backward"/></barline>',
        '<barline location="left"><ending number="2" type="start"/></barline>' + NOTE
        + '<barline location="right"><ending number="2" type="discontinue"/></barline>',
        "<direction><direction-type><rehearsal>Chorus</rehearsal></direction-type></direction>"
         "<attributes><time><beats>3+2</beats><beat-type>8</beat-type></time>"
         '<measure-style><measure-repeat type="start">1</measure-repeat></measure-style></attributes>' + NOTE,
        '<attributes><measure-style><measure-repeat type="stop"/></measure-style>'
         "<measure-style><multiple-rest>2</multiple-rest></measure-style></attributes>" + NOTE,
        words("D.C. al Coda"),
        '<note><rest measure="yes"/><duration>4</duration></note><direction><direction-type><coda/></direction-type>'
         "</direction>",
    )  # fmt: skip

    found = read_musicxml(content)

    bars = found.chart.bars
    assert [(one.letter, one.name, len(one.bars)) for one in found.chart.sections] == [("A", "", 4), ("", "Chorus", 4)]
    assert [bar.shows for bar in bars] == [SLASHES] * 4 + [REPEAT_1, REST, REST, REST]
    assert [str(bar.meter) for bar in bars] == ["4/4"] * 4 + ["5/8"] * 4
    assert (bars[2].road.ending, bars[2].road.repeat_end, bars[3].road.ending) == ((1,), 2, (2,))
    assert bars[6].road.jump == Jump(START, CODA)
    assert bars[7].road.coda
    assert [one.text for one in bars[1].words] == ["brushes"]
    assert found.chart.title == "Cold Bus"
    assert found.left_out == ("6 written notes (bars with notes are slashes)",)
    assert played_order(replace(found.chart)).order[:6] == (1, 2, 3, 2, 4, 5)


def test_marks_of_the_first_part_hold_for_the_drums_and_count_once() -> None:
    mark = "<direction><direction-type><rehearsal>B</rehearsal></direction-type></direction>" + words("D.S.")
    parts = (
        '<score-part id="P1"><part-name>Voice</part-name></score-part>'
        '<score-part id="P2"><part-name>Drum Kit</part-name></score-part>'
    )
    rest = '<note><rest measure="yes"/><duration>4</duration></note>'
    second = f'<part id="P2"><measure number="1">{mark}{rest}</measure></part></score-partwise>'
    content = score(FOUR + mark + NOTE, parts=parts).replace(b"</score-partwise>", second.encode())

    found = read_musicxml(content)

    assert [section.letter for section in found.chart.sections] == ["B"]
    assert (found.chart.bars[0].shows, found.chart.bars[0].words) == (REST, ())
    assert found.left_out == ("1 written notes (bars with notes are slashes)", "1 other parts")


BOMB = b'<!DOCTYPE a [<!ENTITY b "bbbb"><!ENTITY c "&b;&b;&b;">]><score-partwise>&c;</score-partwise>'
NO_METER = "<attributes><time><beats>x</beats><beat-type>4</beat-type></time></attributes>"
FILE = (
    b'<?xml version="1.0"?><!DOCTYPE a [<!ENTITY b SYSTEM "file:///etc/passwd">]><score-partwise>&b;</score-partwise>'
)


@pytest.mark.parametrize(
    ("content", "sentence"),
    [
        (b"", "this is no XML that can be read"),
        (b"RIFF....WAVE", "this is no XML that can be read"),
        (b"<html/>", "this is XML but no MusicXML: it begins with “html”"),
        (b"PK\x03\x04", "compressed MusicXML"),
        (b"<score-timewise/>", "score-partwise"),
        (b"<score-partwise/>", "no part with measures"),
        (BOMB, "declares entities"),
        (FILE, "declares entities"),
        (b" " * (MOST_BYTES + 1), "more than 20 MB"),
        (score(*[""] * 2_001), "more than 2000 measures"),
        (score(NO_METER), "a meter that cannot"),
        (b'<?xml version="1.0" encoding="no-such"?><score-partwise/>', "this is no XML that can be read"),
    ],
)
def test_what_is_no_musicxml_is_refused_by_a_sentence(content: bytes, sentence: str) -> None:
    with pytest.raises(ChartError, match=sentence):
        read_musicxml(content)


def test_what_our_own_file_loses_is_named_and_our_slashes_are_no_notes() -> None:
    """Two bars of slashes, of which the second has two hits and ends the song with a fermata."""
    hits = (Hit(Fraction(1)), Hit(Fraction(3)))
    chart = Chart("Cold Bus", (Section("A", (Bar(COMMON_TIME), Bar(COMMON_TIME, hits=hits, held=Fraction(3)))),))
    said = read_musicxml(musicxml_text(chart).encode()).left_out
    assert said == ("2 cue notes (the band’s hits)", "fermatas")
    slashes = Chart("Cold Bus", (Section("A", (Bar(COMMON_TIME),) * 4),))
    assert read_musicxml(musicxml_text(slashes).encode()).left_out == ()
