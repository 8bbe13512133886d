"""The draft of a song's chart from its bars: each part in a module of its own, put together here."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from analysis.core.chart_draft import ChartDraft
from analysis.features.feature_arrays import Features
from analysis.form.bar_clock import BarClock
from analysis.form.ending import find_ending
from analysis.form.fills import find_fills
from analysis.form.grooves import drum_bars, find_grooves
from analysis.form.hits import LEAST_FOR_FIGURE, hits_among, likely_slots
from analysis.form.sections import find_sections
from analysis.form.slots import lay_slots
from analysis.form.song_sound import hear
from analysis.form.stops import find_stops
from analysis.tempo.evidence import pool

_TIME_DECIMALS = 6


@dataclass(frozen=True)
class Part:
    """One file of the song: its name, what it sounds like, and whether it holds drums (None: can't tell)."""

    name: str
    features: Features
    drums: bool | None = None


def draft_chart(parts: Sequence[Part], clock: BarClock) -> ChartDraft:
    """Draft a chart.

    Parameters
    ----------
    parts : sequence of Part
        All from one common start, each recording once, no clicks.
    clock : BarClock
        The bars as they are to be drafted; see `last_bars.with_true_end`.

    Returns
    -------
    ChartDraft
        Of bars alone where nothing sounds.
    """
    bare = ChartDraft(
        bars=clock.bars,
        downbeats_s=tuple(round(float(time), _TIME_DECIMALS) for time in clock.downbeats_s),
        meters=clock.meter_changes,
    )
    files = [part.features for part in parts]
    music = pool(files)
    if music is None or not clock.bars:
        return bare
    sound, sections = hear(files), find_sections(music, files, clock)
    slots = likely_slots(sound, clock, music)
    hits = hits_among(slots, sound, clock)
    stops = find_stops(sound, clock, hits_among(slots, sound, clock, least=LEAST_FOR_FIGURE))
    grid = next(lay_slots(clock, sound), None)
    bars = drum_bars(grid, [(part.features, part.drums) for part in parts]) if grid and sections else None
    fills = find_fills(bars, sections, hits, stops) if bars else ()
    return replace(
        bare,
        sections=sections,
        hits=hits,
        stops=stops,
        grooves=find_grooves(bars, sections) if bars else (),
        fills=tuple(fill.bar for fill in fills),
        fill_beats=tuple(fill.beat for fill in fills),
        ending=find_ending(sound, clock),
    )
