"""A stranger's MusicXML, read in a child: a parser meets bytes that nobody vouches for."""

from __future__ import annotations

from pathlib import Path

from analysis.chart.reading import read_chart
from analysis.core.errors import ChartError
from analysis.engraving.musicxml_reading import ReadChart
from analysis.sandbox.child import run_in_child
from analysis.sandbox.child_jobs import MusicXmlJob


def read_musicxml_in_child(path: Path) -> ReadChart:
    """Raises ChartError with a sentence for people. What the child answers is read as strictly as any chart."""
    try:
        answer, trouble = run_in_child(MusicXmlJob(str(path.resolve())))
    except ChildProcessError as error:
        raise ChartError(f"the MusicXML could not be read, since {error}: send it again") from error
    if answer is None:
        raise ChartError(f"the MusicXML could not be read: {trouble}")
    if said := answer.get("trouble"):
        raise ChartError(str(said))
    left_out = answer.get("left_out")
    words = tuple(str(one)[:200] for one in left_out[:20]) if isinstance(left_out, list) else ()
    return ReadChart(read_chart(answer.get("chart")), words)
