"""A song's chart, drafted from its surveyed files: on the bars of a given map, or on those that are measured."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from analysis.core.chart_draft import ChartDraft
from analysis.core.reports import SongMeasures, SongReport
from analysis.core.threads import on_one_thread
from analysis.form.bar_clock import BarClock
from analysis.form.draft import Part, draft_chart
from analysis.form.last_bars import with_true_end
from analysis.maps.tempo_map import TempoMap
from analysis.measuring.bars_by_form import drafted_bars
from analysis.measuring.players import entries_of
from analysis.measuring.song import SongFile, measure_song, music_among
from analysis.tempo.evidence import pool

# Two bar ones that lie nearer to one another are the same (house choice).
_SAME_S = 0.05


@on_one_thread
def draft_song(files: Sequence[SongFile], tempo_map: TempoMap | None = None) -> ChartDraft:
    """Draft a chart. Safe on any input: a song without sound or without bars gets an empty one.

    A map says where bars are and what meter they have; how many there are is found in the sound. Bars that were
    measured get the end that the band plays (`last_bars.py`).
    """
    report = measure_song(files)
    draft = _drafted(files, report, tempo_map)
    if not draft.bars:
        return draft
    named = [(report.files[index].name, files[index].features) for index in music_among(report.files)]
    players, entries = entries_of(named, np.array(draft.downbeats_s), draft.sections)
    return replace(draft, players=players, entries=entries, pickup_beats=_pickup_beats(report.song, draft, tempo_map))


def _pickup_beats(song: SongMeasures, draft: ChartDraft, tempo_map: TempoMap | None) -> float:
    """As measured with the song, as long as bar one is where it was measured; a map that counts its pickup has none.

    Without a map the first bar must be as long as it was measured: else its beats are others.
    """
    is_counted = tempo_map is not None and tempo_map.segments[0].bar < 1
    if is_counted or not song.downbeats_s:
        return 0.0
    lines = 1 if tempo_map else 2
    apart_s = np.abs(np.subtract(song.downbeats_s[:lines], draft.downbeats_s[:lines])).max()
    return 0.0 if apart_s > _SAME_S else song.bar_one.pickup_beats


def _drafted(files: Sequence[SongFile], report: SongReport, tempo_map: TempoMap | None) -> ChartDraft:
    parts = [
        Part(report.files[index].name, files[index].features, report.files[index].drums.present)
        for index in music_among(report.files)
    ]
    music = pool([part.features for part in parts])
    if music is None:
        return ChartDraft()
    if tempo_map:
        clock = BarClock.from_map(tempo_map, music.last_sound_s)
        return draft_chart(parts, with_true_end(music, clock, may_slow=False))
    is_meter_given = any("midi_meter" in file.metadata for file in report.files)
    files_of_music = [part.features for part in parts]
    drafted = drafted_bars(music, files_of_music, report.song, is_meter_given=is_meter_given)
    return draft_chart(parts, drafted) if drafted else ChartDraft()
