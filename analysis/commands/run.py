"""What each command of the command line does: read, call one function, print."""

from __future__ import annotations

import argparse
import dataclasses
import json
import os
import sys
import tempfile
from collections.abc import Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from analysis.commands import report_text
from analysis.commands.chart_text import chart_text
from analysis.core.errors import FeelError, MapError
from analysis.core.reports import Brief, FileReport, SongReport
from analysis.maps.click_style import ClickStyle
from analysis.maps.tempo_map import TempoMap
from analysis.measuring.brief import brief_from_json
from analysis.sandbox.chart_child import draft_song_in_child
from analysis.sandbox.child import LINE, measure_song_in_child, survey_in_child

if TYPE_CHECKING:
    from analysis.delivery.check_results import Check
    from analysis.session.settings import SessionSettings

_NOT_ALL_MEASURED, _NOT_AS_SENT = 1, 3  # exit status; 2 is wrong usage
_PAPERS = frozenset(
    {".txt", ".md", ".pdf", ".csv", ".json", ".mid", ".midi", ".png", ".jpg", ".jpeg", ".mei", ".musicxml"}
)


def inspect(options: argparse.Namespace) -> int:
    brief = brief_from_json(_read_json(options.brief)) if options.brief else Brief()
    report = _measure_files(options.files, brief)
    if options.map_out:
        options.map_out.write_text(json.dumps(_map_json(report)) + "\n", "utf-8")
    _say(report_text.song_text(report), report.to_json(), as_json=options.json)
    unusable = {finding.file for finding in report.findings if finding.code in ("unreadable", "not-audio")}
    return _NOT_ALL_MEASURED if unusable else 0


def _measure_files(paths: list[Path], brief: Brief) -> SongReport:
    with _surveyed(paths) as surveyed:
        files = [(*one, path) for one, path in zip(surveyed, paths, strict=True)]
        song = measure_song_in_child([file for file in files if file[1].is_file()], brief)
        # What made its child fail has no features: its report says so.
        lost = [report for report, features, _ in files if not features.is_file()]
    findings = [finding for report in lost for finding in report.findings]
    return replace(song, files=(*song.files, *lost), findings=(*findings, *song.findings))


@contextmanager
def _surveyed(paths: list[Path]) -> Iterator[list[tuple[FileReport, Path]]]:
    """Survey each file in a child of its own, as many at a time as there are cores: reports and stored features."""
    missing = [str(path) for path in paths if not path.is_file()]
    if missing:
        raise FileNotFoundError(f"no such file: {', '.join(missing)}")
    with tempfile.TemporaryDirectory(prefix="inspect-") as folder, ThreadPoolExecutor(os.cpu_count()) as pool:
        features_to = [Path(folder) / f"{number}.npz" for number in range(len(paths))]
        try:
            reports = list(pool.map(_survey, paths, features_to))
        except KeyboardInterrupt:
            LINE.close()  # nobody waits for the files at work
            raise
        yield list(zip(reports, features_to, strict=True))


def chart(options: argparse.Namespace) -> int:
    tempo_map = _read_map(options.map).to_json() if options.map else None
    with _surveyed(options.files) as surveyed:
        measurable = [(report, features) for report, features in surveyed if features.is_file()]
        draft = draft_song_in_child(measurable, tempo_map)
    _say(chart_text(draft), draft.to_json(), as_json=options.json)
    return _NOT_ALL_MEASURED if len(measurable) < len(surveyed) else 0


def engrave(options: argparse.Namespace) -> int:
    from analysis.commands.engrave import engrave as engraved

    return engraved(options, _read_map)


def _survey(path: Path, features_to: Path) -> FileReport:
    return survey_in_child(path, name=path.name, features_to=features_to)


def _map_json(report: SongReport) -> dict[str, Any]:
    """The tempo map as every other command reads it. Raises MapError when the song has none."""
    if not report.song.tempo_map:
        raise MapError("no tempo was found, so there is no map to write")
    return TempoMap.from_segments(report.song.tempo_map).to_json()


def click(options: argparse.Namespace) -> int:
    from analysis.maps.click import plan_click
    from analysis.maps.click_sound import render_blocks
    from analysis.media.reader import create_sound

    style = _click_style(options)
    plan = plan_click(
        _tempo_map(options),
        bars=options.bars,
        count_in_bars=options.count_in,
        sample_rate_hz=options.rate,
        with_files=options.with_files,
        style=style,
    )
    with create_sound(
        options.out, sample_rate_hz=options.rate, channels=1, bit_depth=options.depth, frames=plan.frames
    ) as sound:
        for samples in render_blocks(plan, style=style):
            sound.write(samples)
    return 0


def _click_style(options: argparse.Namespace) -> ClickStyle:
    return ClickStyle(
        subdivision=options.subdivision,
        bars_on=options.bars_on,
        bars_off=options.bars_off,
        sound=options.sound,
        peak_dbfs=options.peak,
    )


def midi(options: argparse.Namespace) -> int:
    from analysis.maps.midi import write_midi

    write_midi(_tempo_map(options), options.out, bars=options.bars)
    return 0


def conform(options: argparse.Namespace) -> int:
    from analysis.session.file_names import NameParts, session_names
    from analysis.session.pack import conform_files, usable_among
    from analysis.session.timeline import plan_session

    settings = _session_settings(options, count_in_bars=0)
    paths, left_out = usable_among(options.files)
    timeline = plan_session(paths, _read_map(options.map), settings)
    names = session_names(settings.name_template, NameParts(), [path.name for path in paths])
    report = conform_files(paths, options.out, timeline, names, left_out=left_out)
    _say(report_text.conform_text(report), report.to_json(), as_json=options.json)
    return _NOT_ALL_MEASURED if report.left_out else 0


def pack(options: argparse.Namespace) -> int:
    from analysis.commands.engrave import ChartPaper, charted
    from analysis.session.file_names import NameParts
    from analysis.session.pack import make_pack

    shared = NameParts(client=options.client, song=options.song, drummer=options.drummer, version=options.version)
    settings = _session_settings(options, count_in_bars=options.count_in, click=_click_style(options))
    paper = charted(options.chart) if options.chart else ChartPaper()
    report = make_pack(
        options.files,
        options.out,
        tempo_map=_read_map(options.map),
        settings=settings,
        shared=shared,
        sections=paper.sections,
        charts=paper.files,
    )
    _say(report_text.conform_text(report), report.to_json(), as_json=options.json)
    return _NOT_ALL_MEASURED if report.left_out else 0


def _session_settings(options: argparse.Namespace, **more: Any) -> SessionSettings:
    from analysis.session.settings import SessionSettings

    return SessionSettings(
        sample_rate_hz=options.rate,
        bit_depth=options.depth,
        start_bar=options.start_bar,
        clock_start_h=options.clock_start,
        name_template=options.names,
        **more,
    )


def verify(options: argparse.Namespace) -> int:
    from analysis.delivery.agreed import Agreed
    from analysis.delivery.verify import verify_set
    from analysis.handover.sheet import Sheet, allowed, check_against, make_sheet

    paths = _tracks_in(options.folder)
    tempo_map = _read_map(options.map) if options.map else None
    report = verify_set(
        paths,
        map=tempo_map,
        against=options.against,
        originals=options.originals,
        perspective=options.perspective,
        agreed=Agreed(options.rate, options.depth, options.zero),
        labels=dict(options.channel),
    )
    words = report_text.verify_text(report)
    arrived: tuple[Check, ...] = ()
    if options.sheet:
        sheet = Sheet.from_json(_read_json(options.sheet))
        arrived, checks = check_against(paths, sheet), allowed(report.checks, sheet)
        passed = all(check.passed for check in (*arrived, *checks))
        report = dataclasses.replace(report, passed=passed, checks=(*arrived, *checks))
        words = report_text.arrival_text(arrived, checks)
    if options.sheet_out:
        sheet = make_sheet(paths, report, tempo_map=tempo_map)
        options.sheet_out.write_text(json.dumps(sheet.to_json(), ensure_ascii=False) + "\n", "utf-8")
    _say(words, report.to_json(), as_json=options.json)
    return _verified(arrived, report.checks)


def _verified(arrived: Sequence[Check], checks: Sequence[Check]) -> int:
    """What did not arrive as it was sent counts first: a file that arrived torn cannot be read either."""
    if not all(check.passed for check in arrived):
        return _NOT_AS_SENT
    return _NOT_ALL_MEASURED if any(check.code == "readable" and not check.passed for check in checks) else 0


def repair(options: argparse.Namespace) -> int:
    from analysis.handover.repair import Repair, repair_set

    wanted = Repair(options.later, options.frames, tuple(options.flip), tuple(options.true_depth))
    done = repair_set(_tracks_in(options.folder), options.out, wanted)
    _say(report_text.repair_text(done), {"files": [item.to_json() for item in done]}, as_json=options.json)
    return 0


def _tracks_in(folder: Path) -> list[Path]:
    return sorted(path for path in folder.iterdir() if path.is_file() and _is_track(path))


def _is_track(path: Path) -> bool:
    """Notes, charts and maps may lie in the folder of a delivery; everything else has to be sound."""
    return not path.name.startswith(".") and path.suffix.lower() not in _PAPERS


def feel(options: argparse.Namespace) -> int:
    from analysis.sandbox.feel_child import feel_in_child

    if not options.take.is_file():
        raise FileNotFoundError(f"no such file: {options.take}")
    report = feel_in_child(options.take, map=_read_map(options.map).to_json(), starts=options.sections)
    if isinstance(report, str):
        raise FeelError(report)
    _say(report_text.feel_text(report), report.to_json(), as_json=options.json)
    return 0


def _tempo_map(options: argparse.Namespace) -> TempoMap:
    return _read_map(options.map) if options.map else TempoMap.constant(options.bpm, options.meter)


def _read_map(path: Path) -> TempoMap:
    return TempoMap.from_json(_read_json(path))


def _read_json(path: Path) -> dict[str, Any]:
    try:
        data = json.loads(path.read_text("utf-8"))
    except ValueError as error:
        raise MapError(f"{path.name} is not valid JSON") from error
    if not isinstance(data, dict):
        raise MapError(f"{path.name} must contain a JSON object")
    return data


def _say(text: str, data: dict[str, Any], *, as_json: bool) -> None:
    sys.stdout.write((json.dumps(data, ensure_ascii=False, allow_nan=False) if as_json else text) + "\n")
