"""MEI: what the engraver is given for a line, and the whole score that is handed out, read by verovio."""

from __future__ import annotations

from typing import Any
from xml.etree import ElementTree as ET

import pytest
import verovio

from analysis.chart.document import Chart, Section
from analysis.engraving.line_mei import key_mei, line_mei, voices_of
from analysis.engraving.lines import lines_of
from analysis.engraving.mei import NAMESPACE
from analysis.engraving.mei_score import mei_text
from tests.analysis.chart.by_hand import BY_HAND, straight_rock, waltz
from tests.analysis.chart.charts import SIX_EIGHT, ds_al_coda, plain

MEI = f"{{{NAMESPACE}}}"


def _engraver() -> Any:
    verovio.enableLog(verovio.LOG_WARNING)
    return verovio.toolkit()


@pytest.mark.parametrize("name", BY_HAND)
def test_the_engraver_reads_the_whole_score_without_a_complaint(name: str) -> None:
    toolkit = _engraver()
    toolkit.setOptions({"breaks": "auto"})

    assert toolkit.loadData(mei_text(BY_HAND[name]()))
    assert toolkit.getLog() == ""


def test_every_bar_is_in_the_score_once() -> None:
    root = ET.fromstring(mei_text(straight_rock()))
    measures = [int(one.get("n", "0")) for one in root.iter(f"{MEI}measure")]

    assert measures == [1, *range(5, 25)]  # four bars of rest are one sign
    assert [one.get("num") for one in root.iter(f"{MEI}multiRest")] == ["4"]


def test_endings_and_jumps_are_in_the_score() -> None:
    root = ET.fromstring(mei_text(ds_al_coda()))

    assert [one.get("n") for one in root.iter(f"{MEI}ending")] == ["1", "2"]
    assert [one.get("func") for one in root.iter(f"{MEI}repeatMark")] == ["segno", "dalSegno", "coda"]
    assert ET.fromstring(mei_text(waltz())).find(f".//{MEI}persName") is not None


def test_a_line_for_the_engraver_holds_no_words() -> None:
    for line in lines_of(waltz()):
        root = ET.fromstring(line_mei(line, None))
        assert not [one for one in root.iter() if (one.text or "").strip()]


def test_a_meter_is_printed_where_it_changes() -> None:
    lines = lines_of(Chart("x", (plain("A", 4), Section("B", plain("B", 4, meter=SIX_EIGHT).bars))))

    shown = ET.fromstring(line_mei(lines[1], lines[0].cells[-1].bar.meter)).find(f".//{MEI}scoreDef")
    hidden = ET.fromstring(line_mei(lines[1], SIX_EIGHT)).find(f".//{MEI}scoreDef")

    assert shown is not None
    assert hidden is not None
    assert (shown.get("meter.count"), shown.get("meter.visible")) == ("6", None)
    assert hidden.get("meter.visible") == "false"


def test_the_key_names_every_voice_once_from_the_top_down() -> None:
    voices = voices_of(straight_rock().bars)

    assert voices == ["crash", "hat", "high tom", "low tom", "snare", "floor tom", "kick"]
    assert len(list(ET.fromstring(key_mei(voices)).iter(f"{MEI}chord"))) == 7
