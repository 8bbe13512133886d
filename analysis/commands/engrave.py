"""What `python -m analysis engrave` does: a chart, or a draft of one, to pages or to a file for notation programs."""

from __future__ import annotations

import argparse
import json
import sys
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

from analysis.core.errors import ChartError

if TYPE_CHECKING:
    from analysis.chart.document import Chart
    from analysis.maps.midi import Marker
    from analysis.maps.tempo_map import TempoMap

# Larger than the JSON of any chart.
_MOST_BYTES = 8 * 2**20
_MUSICXML = (".musicxml", ".xml", ".mxl")


def engrave(options: argparse.Namespace, read_map: Callable[[Path], TempoMap]) -> int:
    from analysis.engraving.forms import Look
    from analysis.engraving.forms import engrave as engraved

    chart = _chart(options, read_map)
    _say_problems(chart, options.song_bars)
    if options.to == "json":
        options.out.write_text(json.dumps(chart.to_json(), ensure_ascii=False, indent=1) + "\n", "utf-8")
        return 0
    files = engraved(chart, options.to, Look(page=options.page, dark=options.dark, note=options.note))
    for path, content in zip(_paths(options.out, len(files)), files, strict=True):
        path.write_bytes(content)
    return 0


@dataclass(frozen=True)
class ChartPaper:
    """What a session pack takes from a chart: its sections' places, and its files by name."""

    sections: tuple[Marker, ...] = ()
    files: Mapping[str, bytes] = field(default_factory=dict)


def charted(path: Path) -> ChartPaper:
    from analysis.chart.markers import section_markers
    from analysis.chart.reading import read_chart
    from analysis.engraving.forms import engrave as engraved
    from analysis.session.pack import CHART_MUSICXML_NAME, CHART_PDF_NAME

    chart = read_chart(_read(path))
    forms = {CHART_PDF_NAME: "pdf", CHART_MUSICXML_NAME: "musicxml"}
    return ChartPaper(section_markers(chart), {name: engraved(chart, form)[0] for name, form in forms.items()})


def _chart(options: argparse.Namespace, read_map: Callable[[Path], TempoMap]) -> Chart:
    from analysis.chart.reading import read_chart

    if options.chart.suffix.lower() in _MUSICXML:
        return _from_musicxml(options.chart)
    data = _read(options.chart)
    if "chart" in data or "bars" not in data:
        return read_chart(data)
    return _drafted(data, options, read_map)


def _from_musicxml(path: Path) -> Chart:
    from analysis.sandbox.musicxml_child import read_musicxml_in_child

    found = read_musicxml_in_child(path)
    sys.stderr.write("".join(f"Left out: {words}.\n" for words in found.left_out))
    return found.chart


def _read(path: Path) -> dict[str, Any]:
    if path.stat().st_size > _MOST_BYTES:
        raise ChartError(f"{path.name} is larger than any chart")
    try:
        data = json.loads(path.read_text("utf-8"))
    except (ValueError, RecursionError) as error:
        raise ChartError(f"{path.name} is not valid JSON") from error
    if not isinstance(data, dict):
        raise ChartError(f"{path.name} must contain a JSON object")
    return data


def _drafted(data: dict[str, Any], options: argparse.Namespace, read_map: Callable[[Path], TempoMap]) -> Chart:
    """What `python -m analysis chart --json` printed, as a chart."""
    from analysis.chart.folding import chart_from_draft
    from analysis.core.chart_draft import ChartDraft

    tempo_map = read_map(options.map) if options.map else None
    try:
        draft = ChartDraft.from_json(data)
        title = options.title or options.chart.stem
        chart = chart_from_draft(draft, title=title, tempo_map=tempo_map, fold=not options.written_out)
    except (TypeError, AttributeError, ValueError, ArithmeticError) as error:
        raise ChartError(f"{options.chart.name} is neither a chart nor a draft of one") from error
    if chart is None:
        raise ChartError(f"{options.chart.name} is a draft without bars")
    return chart


def _say_problems(chart: Chart, song_bars: int | None) -> None:
    from analysis.chart.checks import length_check, problems_of

    lines = [problem.sentence for problem in problems_of(chart)]
    if song_bars is not None:
        check = length_check(chart, song_bars=song_bars)
        lines += [] if check.agrees else [check.sentence()]
    sys.stderr.write("".join(f"{line}\n" for line in lines))


def _paths(out: Path, files: int) -> list[Path]:
    """The path asked for, or one for each page: `chart-1.svg`, `chart-2.svg`."""
    if files == 1:
        return [out]
    return [out.with_name(f"{out.stem}-{number}{out.suffix}") for number in range(1, files + 1)]
