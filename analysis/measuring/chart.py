"""A song's chart, drafted from its surveyed files: on the bars of a given map, or on those that are measured."""

from __future__ import annotations

from collections.abc import Sequence

from analysis.core.chart_draft import ChartDraft
from analysis.core.threads import on_one_thread
from analysis.form.bar_clock import BarClock
from analysis.form.draft import Part, draft_chart
from analysis.form.last_bars import with_true_end
from analysis.maps.tempo_map import TempoMap
from analysis.measuring.song import SongFile, measure_song, music_among
from analysis.tempo.evidence import pool


@on_one_thread
def draft_song(files: Sequence[SongFile], tempo_map: TempoMap | None = None) -> ChartDraft:
    """Draft a chart. Safe on any input: a song without sound or without bars gets an empty one.

    A map says where bars are and what meter they have; how many there are is found in the sound. Bars that were
    measured get the end that the band plays (`last_bars.py`).
    """
    report = measure_song(files)
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
    measured = BarClock.from_song(report.song)
    return draft_chart(parts, with_true_end(music, measured)) if measured else ChartDraft()
