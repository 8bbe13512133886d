"""`python -m analysis engrave`, as a person or a script uses it."""

import json
from pathlib import Path
from typing import Any

import pytest

from analysis.chart.reading import read_chart
from analysis.engraving.forms import FORMATS, PAGES
from analysis.maps.midi import read_midi
from tests import signals
from tests.analysis.chart.by_hand import straight_rock
from tests.analysis.chart.charts import plain
from tests.analysis.chart.test_from_draft import DRAFT
from tests.analysis.commands.test_run import map_file, run
from tests.analysis.encoded import write_sound


def chart_file(folder: Path, data: Any = None) -> Path:
    path = folder / "chart.json"
    path.write_text(json.dumps(straight_rock().to_json() if data is None else data))
    return path


@pytest.mark.parametrize("form", FORMATS)
def test_writes_each_form(form: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    out = tmp_path / f"chart.{form}"

    code, printed = run(capsys, "engrave", chart_file(tmp_path), "--to", form, "--out", out)

    assert (code, printed) == (0, "")
    assert out.stat().st_size > 1000


@pytest.mark.parametrize("page", PAGES)
def test_takes_each_page(page: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    code, _ = run(capsys, "engrave", chart_file(tmp_path), "--to", "svg", "--page", page, "--out", tmp_path / "c.svg")

    assert code == 0
    assert list(tmp_path.glob("c*.svg"))


def test_pages_of_svg_are_numbered(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    long = {"chart": 1, "title": "x", "sections": [{"letter": "A", "bars": [{}] * 120}]}

    run(capsys, "engrave", chart_file(tmp_path, long), "--to", "svg", "--out", tmp_path / "c.svg")

    assert [path.name for path in sorted(tmp_path.glob("c*.svg"))] == ["c-1.svg", "c-2.svg"]


def test_a_draft_becomes_a_chart(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path, out = chart_file(tmp_path, DRAFT.to_json()), tmp_path / "c.musicxml"

    code, _ = run(
        capsys, "engrave", path, "--to", "musicxml", "--title", "Wet Stairs", "--map", map_file(tmp_path), "--out", out
    )

    assert code == 0
    assert "<movement-title>Wet Stairs</movement-title>" in out.read_text()
    assert "<per-minute>120</per-minute>" in out.read_text()
    assert out.read_text().count("<measure ") == 8


def test_problems_are_said_and_the_page_is_made(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    data = {"chart": 1, "title": "x", "sections": [{"letter": "A", "bars": [{}, {"road": {"jump": {}}}]}]}
    out = tmp_path / "c.pdf"

    code, printed = run(capsys, "engrave", chart_file(tmp_path, data), "--song-bars", 4, "--out", out)

    assert code == 0
    assert printed.splitlines() == [
        "Bar 2: D.S., but there is no segno to go back to.",
        "The chart has 2 bars, the song 4.",
    ]
    assert out.exists()


WRONG = [
    (b"{", "chart.json is not valid JSON"),
    (b"[" * 100_000, "chart.json is not valid JSON"),
    (b"\xff\xfe\x00", "chart.json is not valid JSON"),
    (b"[]", "chart.json must contain a JSON object"),
    (b"{}", "not a chart of format 1: “chart” is None"),
    (b'{"bars": 0}', "chart.json is a draft without bars"),
    (b'{"bars": "many"}', "chart.json is neither a chart nor a draft of one"),
    (b'{"bars": 1000000000}', "the draft has 1000000000 bars; a chart has 2000 at most"),
    (
        b'{"bars": 1, "hits": [{"bar": 1, "beat": Infinity, "length_beats": 1}]}',
        "is neither a chart nor a draft of one",
    ),
    (b'{"bars": 4, "meters": [{"bar": 1, "meter": "5/0"}]}', "chart.json is neither a chart nor a draft of one"),
    (b'{"chart": 1, "title": "x", "sections": []}', "the chart has no bars"),
    (b"<score-partwise/>", "chart.json is not valid JSON"),
]


@pytest.mark.parametrize(("content", "sentence"), WRONG, ids=[sentence for _, sentence in WRONG])
def test_what_is_no_chart_is_refused_with_a_sentence(
    content: bytes, sentence: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path, out = tmp_path / "chart.json", tmp_path / "c.pdf"
    path.write_bytes(content)

    code, printed = run(capsys, "engrave", path, "--out", out)

    assert code == 2
    assert sentence in printed
    assert "Traceback" not in printed
    assert not out.exists()


def test_a_chart_that_is_not_there(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    code, printed = run(capsys, "engrave", tmp_path / "none.json", "--out", tmp_path / "c.pdf")

    assert code == 2
    assert "none.json" in printed


def test_a_session_pack_takes_the_chart_along(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    sound = write_sound(tmp_path / "bass.wav", signals.noise(duration_s=4.0))
    out = tmp_path / "pack"

    code, _ = run(
        capsys, "pack", sound, "--map", map_file(tmp_path), "--chart", chart_file(tmp_path), "--song", "x", "--out", out
    )

    assert code == 0
    assert (out / "chart.pdf").read_bytes().startswith(b"%PDF-")
    assert b"score-partwise" in (out / "chart.musicxml").read_bytes()
    # The rock chart's intro has four bars; bar one is the session's bar 3, so a song of two bars has its intro alone.
    assert "Intro" in [marker.text for marker in read_midi(out / "tempo-map.mid").markers]


def test_letters_alone_make_a_chart(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    section = plain("A", 2)
    data = {"chart": 1, "title": "", "sections": [{"letter": section.letter, "bars": [{}, {}]}]}

    code, _ = run(capsys, "engrave", chart_file(tmp_path, data), "--out", tmp_path / "c.pdf")

    assert code == 0


def test_musicxml_becomes_a_chart_and_what_was_left_out_is_said(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    source = tmp_path / "song.musicxml"
    source.write_text(
        '<score-partwise version="4.0"><part-list><score-part id="P1"><part-name>Drums</part-name></score-part>'
        '</part-list><part id="P1"><measure number="1"><note><unpitched/><duration>4</duration></note></measure></part>'
        "</score-partwise>",
        "utf-8",
    )

    code, printed = run(capsys, "engrave", source, "--to", "json", "--out", tmp_path / "chart.json")

    chart = read_chart(json.loads((tmp_path / "chart.json").read_text("utf-8")))
    assert len(chart.bars) == 1
    assert code == 0
    assert "Left out: 1 written notes" in printed
