"""MusicXML through a real child: what it reads, and what becomes of a file that is none."""

from __future__ import annotations

from pathlib import Path

import pytest

from analysis.chart.roadmap import played_order
from analysis.core.errors import ChartError
from analysis.engraving.musicxml import musicxml_text
from analysis.sandbox.musicxml_child import read_musicxml_in_child
from tests.analysis.chart.charts import ds_al_coda


def test_a_chart_comes_back_out_of_the_child(tmp_path: Path) -> None:
    path = tmp_path / "chart.musicxml"
    path.write_text(musicxml_text(ds_al_coda()), "utf-8")

    found = read_musicxml_in_child(path)

    assert len(played_order(found.chart).order) == 52  # worked through by hand in test_roadmap


def test_what_is_no_musicxml_is_a_sentence(tmp_path: Path) -> None:
    path = tmp_path / "song.xml"
    path.write_text("<html><body/></html>", "utf-8")

    with pytest.raises(ChartError, match="this is XML but no MusicXML"):
        read_musicxml_in_child(path)


def test_elements_in_elements_without_end_end_as_a_sentence(tmp_path: Path) -> None:
    path = tmp_path / "deep.xml"
    path.write_text("<score-partwise>" + "<a>" * 2_000_000, "utf-8")

    with pytest.raises(ChartError):
        read_musicxml_in_child(path)
