"""The command line of the engine: `python -m analysis COMMAND ...`; `--help` lists the commands."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

from analysis.commands import run as commands
from analysis.core.errors import AnalysisError
from analysis.maps.click_style import BEAT, DEFAULT_PEAK_DBFS, HIGHEST_PEAK_DBFS, SOUNDS, SUBDIVISIONS
from analysis.session.file_names import DEFAULT_TEMPLATE

WRONG_USAGE = 2
STOPPED = 130  # as shells count a program that SIGINT ended
# Longer than any song; a click is rendered whole.
MOST_BARS = 5_000


def parser() -> argparse.ArgumentParser:
    whole = argparse.ArgumentParser(prog="python -m analysis", description="Measure music files for tracking.")
    parts = whole.add_subparsers(dest="command", required=True)
    _add_inspect(parts.add_parser("inspect", help="measure files as one song and print a report"))
    _add_chart(parts.add_parser("chart", help="draft a chart: sections, hits, stops, grooves, ending"))
    _add_engrave(parts.add_parser("engrave", help="make pages of a chart, or MusicXML or MEI"))
    _add_click(
        parts.add_parser(
            "click",
            help="make a click from a tempo map or a tempo (silent in free passages, except for one bar of count-in)",
        )
    )
    _add_midi(parts.add_parser("midi", help="write a tempo map as a Standard MIDI File"))
    _add_conform(parts.add_parser("conform", help="bring files to one start, length, rate and depth"))
    _add_pack(parts.add_parser("pack", help="make a session pack: files, click, tempo map and papers"))
    _add_verify(parts.add_parser("verify", help="check a multitrack as a set"))
    _add_repair(parts.add_parser("repair", help="write a corrected set, without a change to its sound"))
    _add_feel(parts.add_parser("feel", help="compare a take with the grid"))
    return whole


def _add_inspect(part: argparse.ArgumentParser) -> None:
    part.add_argument("files", nargs="+", type=Path, metavar="FILE")
    part.add_argument("--brief", type=Path, help="the client's brief, as JSON")
    part.add_argument("--map-out", type=Path, help="write the tempo map to this file")
    part.add_argument("--json", action="store_true", help="one JSON object instead of a report")
    part.set_defaults(run=commands.inspect)


def _add_chart(part: argparse.ArgumentParser) -> None:
    part.add_argument("files", nargs="+", type=Path, metavar="FILE")
    part.add_argument("--map", type=Path, help="tempo map JSON: draft on its bars; without one they are measured")
    part.add_argument("--json", action="store_true", help="one JSON object instead of a report")
    part.set_defaults(run=commands.chart)


def _add_engrave(part: argparse.ArgumentParser) -> None:
    of = "a chart's JSON, what `chart --json` printed, or MusicXML"
    part.add_argument("chart", type=Path, metavar="CHART", help=of)
    part.add_argument("--to", choices=("pdf", "svg", "musicxml", "mei", "json"), default="pdf")
    part.add_argument("--page", choices=("a4", "letter", "a4-large", "letter-large", "screen"), default="a4")
    part.add_argument("--dark", action="store_true", help="light ink on a dark page")
    part.add_argument("--note", default="", help="printed beside the title: a version, a date")
    part.add_argument("--title", default="", help="title of a draft")
    part.add_argument("--map", type=Path, help="tempo map JSON of a draft, for its tempo")
    part.add_argument("--written-out", action="store_true", help="write every bar of a draft, without repeats")
    part.add_argument("--song-bars", type=_count, help="say so if the chart is not as long")
    part.add_argument("--out", type=Path, required=True, help="one file; pages of SVG are numbered")
    part.set_defaults(run=commands.engrave)


def _add_map_or_bpm(part: argparse.ArgumentParser) -> None:
    source = part.add_mutually_exclusive_group(required=True)
    source.add_argument("--map", type=Path, help="tempo map JSON")
    source.add_argument("--bpm", help="use a constant tempo, as a decimal or fraction")
    part.add_argument("--meter", default="4/4")
    part.add_argument("--bars", type=_bars, default=8)


def _add_click(part: argparse.ArgumentParser) -> None:
    _add_map_or_bpm(part)
    _add_click_style(part)
    part.add_argument("--rate", type=_count, default=48_000)
    part.add_argument("--depth", type=int, choices=(16, 24, 32), default=24)
    part.add_argument(
        "--with-files", action="store_true", help="start with the song's files, whatever of the count-in fits before"
    )
    part.add_argument("--out", type=Path, required=True)
    part.set_defaults(run=commands.click)


def _add_click_style(part: argparse.ArgumentParser) -> None:
    part.add_argument("--count-in", type=_count_or_none, default=2, help="bars before bar one")
    part.add_argument("--subdivision", choices=SUBDIVISIONS, default=BEAT, help="click these note values as well")
    part.add_argument("--sound", choices=SOUNDS, default=SOUNDS[0])
    part.add_argument(
        "--peak", type=float, default=DEFAULT_PEAK_DBFS, help=f"dBFS, held at {HIGHEST_PEAK_DBFS:g} at most"
    )
    part.add_argument("--bars-on", type=_count, default=1, help="bars of click, in turn with ...")
    part.add_argument("--bars-off", type=_count_or_none, default=0, help="... bars without; 0 never stops")


def _add_midi(part: argparse.ArgumentParser) -> None:
    _add_map_or_bpm(part)
    part.add_argument("--out", type=Path, required=True)
    part.set_defaults(run=commands.midi)


def _add_conform(part: argparse.ArgumentParser) -> None:
    _add_session(part, names="{part}", start_bar=1)
    part.set_defaults(run=commands.conform)


def _add_pack(part: argparse.ArgumentParser) -> None:
    _add_session(part, names=DEFAULT_TEMPLATE, start_bar=3)
    _add_click_style(part)
    part.add_argument("--chart", type=Path, help="a chart's JSON: added as PDF, MusicXML and markers")
    part.add_argument("--song", default="", help="title, for the names")
    part.add_argument("--client", default="", help="the client's name, for the names")
    part.add_argument("--drummer", default="", help="the drummer's name, for the names")
    part.add_argument("--version", type=_count, default=1, help="version of the map, for the names")
    part.set_defaults(run=commands.pack)


def _add_session(part: argparse.ArgumentParser, *, names: str, start_bar: int) -> None:
    part.add_argument("files", nargs="+", type=Path, metavar="FILE")
    part.add_argument("--map", type=Path, required=True)
    part.add_argument(
        "--start-bar",
        type=_count,
        default=start_bar,
        help="the session bar where bar one goes; later when sound before it needs the room",
    )
    part.add_argument("--rate", type=_count, default=48_000)
    part.add_argument("--depth", type=int, choices=(16, 24, 32), default=24)
    part.add_argument("--clock-start", type=int, choices=range(24), default=0, help="hour of the session's start")
    part.add_argument("--names", default=names, help="template of the names")
    part.add_argument("--out", type=Path, required=True, metavar="DIR")
    part.add_argument("--json", action="store_true")


def _add_verify(part: argparse.ArgumentParser) -> None:
    part.add_argument("folder", type=Path, metavar="DIR")
    part.add_argument(
        "--map", type=Path, help=("tempo map JSON: check that the whole song is covered and the drums are on the map")
    )
    part.add_argument("--against", type=Path, metavar="ROUGH", help="a rough mix to line up with")
    part.add_argument(
        "--originals",
        type=Path,
        nargs="+",
        default=[],
        metavar="FILE",
        help="the client's files, to compare the rhythm with",
    )
    part.add_argument(
        "--perspective",
        choices=("player", "audience"),
        default="",
        help="whose left is left, on a kit with the hat on the player's left",
    )
    part.add_argument(
        "--channel",
        type=_labelled,
        action="append",
        default=[],
        metavar="FILE=LABEL",
        help="which channel a file is whose name does not say it: KickIn, SnTop, OHL and so on; may be given again",
    )
    part.add_argument("--rate", type=_count, metavar="HZ", help="the sample rate that was agreed")
    part.add_argument("--depth", type=_count, metavar="BITS", help="the bit depth that was agreed")
    part.add_argument(
        "--zero",
        type=float,
        default=0.0,
        metavar="S",
        help="where the files were agreed to begin, in the time of the map, the mix and the client's files",
    )
    part.add_argument(
        "--sheet",
        type=Path,
        help="a delivery's sheet, as JSON: check that what it names arrived as sent; if not, the exit status is 3",
    )
    part.add_argument("--sheet-out", type=Path, help="write the sheet of this delivery, as JSON")
    part.add_argument("--json", action="store_true")
    part.set_defaults(run=commands.verify)


def _add_repair(part: argparse.ArgumentParser) -> None:
    part.add_argument("folder", type=Path, metavar="DIR")
    part.add_argument("--later", type=int, default=0, metavar="FRAMES", help="move all files; negative is earlier")
    part.add_argument("--frames", type=_count, help="cut or pad all files to this length")
    part.add_argument("--flip", nargs="+", default=[], metavar="NAME", help="files whose polarity is turned over")
    part.add_argument(
        "--true-depth", nargs="+", default=[], metavar="NAME", help="files to store in the bits that they use"
    )
    part.add_argument("--out", type=Path, required=True, metavar="DIR")
    part.add_argument("--json", action="store_true")
    part.set_defaults(run=commands.repair)


def _add_feel(part: argparse.ArgumentParser) -> None:
    part.add_argument("take", type=Path)
    part.add_argument("--map", type=Path, required=True)
    part.add_argument(
        "--sections",
        type=_count,
        nargs="+",
        default=[],
        metavar="BAR",
        help="the bars with which sections begin (default: every eight bars are one)",
    )
    part.add_argument("--json", action="store_true")
    part.set_defaults(run=commands.feel)


def _count(text: str) -> int:
    value = int(text)
    if value < 1:
        raise argparse.ArgumentTypeError("must be 1 or more")
    return value


def _bars(text: str) -> int:
    value = _count(text)
    if value > MOST_BARS:
        raise argparse.ArgumentTypeError(f"must be {MOST_BARS} or less")
    return value


def _labelled(text: str) -> tuple[str, str]:
    from analysis.delivery import LABELS

    file, _, label = text.rpartition("=")
    if label not in LABELS:
        raise argparse.ArgumentTypeError(f"“{label}” is none of {', '.join(LABELS)}")
    return file, label


def _count_or_none(text: str) -> int:
    value = int(text)
    if value < 0:
        raise argparse.ArgumentTypeError("must be 0 or more")
    return value


def main(arguments: list[str] | None = None) -> int:
    """Exit 0 when every file was measured, 1 when one could not be, 2 for wrong usage, 3 when what a sheet names is not
    what arrived, 130 when stopped by Ctrl-C."""
    options = parser().parse_args(arguments)
    try:
        return int(options.run(options))
    except (AnalysisError, ValueError, OSError) as error:
        print(f"{parser().prog} {options.command}: {error}", file=sys.stderr)
        return WRONG_USAGE
    except KeyboardInterrupt:
        print(f"{parser().prog} {options.command}: stopped", file=sys.stderr)
        return STOPPED


if __name__ == "__main__":
    sys.exit(main())
