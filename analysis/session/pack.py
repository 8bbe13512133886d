"""A song's session pack: the files on one timeline, the click, and the papers that go with them.

The same inputs give the same bytes: nothing in it knows the time of day.
"""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from types import MappingProxyType

from analysis.core.errors import UnusableFileError
from analysis.core.reports import Record
from analysis.maps.click_sound import render_blocks
from analysis.maps.midi import Marker, write_midi
from analysis.maps.tempo_map import TempoMap
from analysis.media.broadcast import Broadcast, create_broadcast
from analysis.media.hashes import sha256_of_file
from analysis.media.reader import open_media
from analysis.session.about_page import about_page
from analysis.session.conform import ConformedFile, conform_file
from analysis.session.cue_sheet import cue_sheet_text
from analysis.session.file_names import CLICK_PART, NameParts, pack_names
from analysis.session.interchange import TrackFile, interchange_text
from analysis.session.settings import SessionSettings
from analysis.session.timeline import Timeline, plan_session

AUDIO_FOLDER = "audio"
ABOUT_NAME, HASHES_NAME = "about-this-pack.html", "SHA256SUMS"
CUE_SHEET_NAME, MIDI_NAME, TIMELINE_NAME = "cue-sheet.csv", "tempo-map.mid", "session.json"
INTERCHANGE_NAME = "session.otio"
CHART_PDF_NAME, CHART_MUSICXML_NAME = "chart.pdf", "chart.musicxml"
_BAR_ONE = "bar one"
NO_CHARTS: Mapping[str, bytes] = MappingProxyType({})


@dataclass(frozen=True)
class PackReport(Record):
    start_bar: int
    bar_one_frame: int
    frames: int
    files: tuple[ConformedFile, ...] = ()
    left_out: tuple[tuple[str, str], ...] = ()


def make_pack(
    paths: Sequence[Path],
    folder: Path,
    *,
    tempo_map: TempoMap,
    settings: SessionSettings,
    shared: NameParts,
    sections: Sequence[Marker] = (),
    charts: Mapping[str, bytes] = NO_CHARTS,
) -> PackReport:
    """Write everything to `folder`. `sections` are in the song's bars, `charts` the chart's files by their names.

    A file that is no sound is left out and named.

    Raises MapError when sound would have to be cut off.
    """
    paths, left_out = usable_among(paths)
    timeline = plan_session(paths, tempo_map, settings)
    shared = replace(shared, sample_rate_hz=settings.sample_rate_hz, bit_depth=settings.bit_depth)
    click_name, names = pack_names(settings.name_template, shared, [path.name for path in paths])
    report = conform_files(paths, folder / AUDIO_FOLDER, timeline, names, left_out=left_out)
    write_papers(
        folder,
        timeline,
        report.files,
        title=shared.song,
        click_name=click_name,
        left_out=report.left_out,
        sections=sections,
        charts=charts,
    )
    return report


def usable_among(paths: Sequence[Path]) -> tuple[list[Path], list[tuple[str, str]]]:
    """The files that can be opened as sound; of the others, names and why."""
    usable, left_out = [], []
    for path in paths:
        try:
            with open_media(path):
                usable.append(path)
        except UnusableFileError as error:
            left_out.append((path.name, f"it {error.reason}"))
    return usable, left_out


def conform_files(
    paths: Sequence[Path],
    folder: Path,
    timeline: Timeline,
    names: Sequence[str],
    *,
    left_out: Sequence[tuple[str, str]] = (),
) -> PackReport:
    """Write each file under its new name. One that cannot be decoded to its end joins those `left_out`."""
    folder.mkdir(parents=True, exist_ok=True)
    done, left_out = [], list(left_out)
    for path, out in zip(paths, names, strict=True):
        part = folder / f".{out}.part"
        try:
            file = conform_file(path, part, timeline, name=path.name, out=out)
            part.replace(folder / out)
        except UnusableFileError as error:
            left_out.append((path.name, f"it {error.reason}"))
            continue
        finally:
            part.unlink(missing_ok=True)
        done.append(replace(file, source_sha256=sha256_of_file(path)))
    return PackReport(timeline.start_bar, timeline.bar_one_frame, timeline.frames, tuple(done), tuple(left_out))


def write_papers(
    folder: Path,
    timeline: Timeline,
    files: Sequence[ConformedFile],
    *,
    title: str,
    click_name: str,
    left_out: Sequence[tuple[str, str]] = (),
    sections: Sequence[Marker] = (),
    charts: Mapping[str, bytes] = NO_CHARTS,
    word_on_sections: str = "",
) -> None:
    """Everything in the pack but the conformed files, which need not lie in the folder."""
    (folder / AUDIO_FOLDER).mkdir(parents=True, exist_ok=True)
    click_hash = _write_click(folder / AUDIO_FOLDER / click_name, timeline)
    ahead = timeline.start_bar - 1
    markers = [Marker(timeline.start_bar, _BAR_ONE)]
    markers += [Marker(one.bar + ahead, one.text) for one in sections if 0 < one.bar + ahead <= timeline.bars]
    tracks = [TrackFile(click_name[:-4], f"{AUDIO_FOLDER}/{click_name}", 1)]
    tracks += [TrackFile(file.out[:-4], f"{AUDIO_FOLDER}/{file.out}", file.channels) for file in files]
    write_midi(timeline.session_map, folder / MIDI_NAME, bars=timeline.bars, markers=markers)
    texts = {
        # Sorted: a store that keeps JSON may give the same timeline back in another order.
        TIMELINE_NAME: json.dumps(timeline.to_json(), indent=1, sort_keys=True, ensure_ascii=False, allow_nan=False)
        + "\n",
        INTERCHANGE_NAME: interchange_text(title, timeline, tracks, markers),
        CUE_SHEET_NAME: cue_sheet_text(timeline, markers),
        ABOUT_NAME: about_page(title, timeline, files, left_out, click_name, word_on_sections),
    }
    papers = {name: text.encode() for name, text in texts.items()} | dict(charts)
    for name, content in papers.items():
        (folder / name).write_bytes(content)
    hashes = {f"{AUDIO_FOLDER}/{file.out}": file.sha256 for file in files}
    hashes |= {f"{AUDIO_FOLDER}/{click_name}": click_hash}
    hashes |= {name: sha256_of_file(folder / name) for name in (MIDI_NAME, *papers)}
    lines = "".join(f"{hashes[name]}  {name}\n" for name in sorted(hashes))
    (folder / HASHES_NAME).write_bytes(lines.encode())


def _write_click(path: Path, timeline: Timeline) -> str:
    settings = timeline.settings
    history = f"A=PCM,F={settings.sample_rate_hz},W={settings.bit_depth},M=mono,T=click made from the tempo map\r\n"
    with create_broadcast(
        path,
        sample_rate_hz=settings.sample_rate_hz,
        channels=1,
        bit_depth=settings.bit_depth,
        frames=timeline.frames,
        broadcast=Broadcast(CLICK_PART, timeline.time_reference_frames, history),
    ) as sound:
        for samples in render_blocks(timeline.click_plan(), style=settings.click):
            sound.write(samples)
    return sound.sha256
