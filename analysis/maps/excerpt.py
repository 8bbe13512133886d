"""A few bars of a song with the click on top, for a listening check: is this the tempo, is this beat one?

Music and click are mixed here, in one file, so that no decoder can shift one against the other. Both peak at the
click's default level: together they stay at the click's ceiling (two sounds of -12 dBFS add up to -6 at most).
"""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction
from pathlib import Path

import numpy as np
import soundfile

from analysis.core.samples import Doubles
from analysis.maps.click import ClickPlan, clicks_between, onsets_after
from analysis.maps.click_sound import render_plan
from analysis.maps.click_style import DEFAULT_PEAK_DBFS
from analysis.maps.tempo_map import TempoMap, round_half_up
from analysis.media.windows import mixed_window

# Room before the first click: the music fades in here, and a phone that starts late swallows no beat (house choice).
_LEAD_S = Fraction(1, 2)
# The last click rings out (house choice).
_TAIL_S = Fraction(1, 4)
# Bits of the copy that a browser plays.
_SUBTYPE = "PCM_16"


def excerpt_start_s(tempo_map: TempoMap, first_bar: int) -> Fraction:
    """Where the excerpt begins in the song, in seconds; before the files' start it is silent."""
    return tempo_map.time_of_bar(first_bar) - _LEAD_S


def write_excerpt(
    paths: Sequence[Path], tempo_map: TempoMap, to: Path, *, first_bar: int, bars: int, sample_rate_hz: int
) -> None:
    """Write FLAC (RFC 9639), mono: the files' sum from `first_bar` on for `bars` bars, and the click."""
    plan = excerpt_plan(tempo_map, first_bar=first_bar, bars=bars, sample_rate_hz=sample_rate_hz)
    start_s = excerpt_start_s(tempo_map, first_bar)
    before = round_half_up(max(Fraction(0), -start_s) * sample_rate_hz)
    music = np.zeros(plan.frames)
    if before < plan.frames:
        music[before:] = mixed_window(paths, float(max(Fraction(0), start_s)), plan.frames - before, sample_rate_hz)
    soundfile.write(to, _at_click_level(music) + render_plan(plan)[:, 0], sample_rate_hz, _SUBTYPE, format="FLAC")


def excerpt_plan(tempo_map: TempoMap, *, first_bar: int, bars: int, sample_rate_hz: int) -> ClickPlan:
    """Where the clicks are in the excerpt; `lead_s` is what comes before its first bar."""
    start_s = excerpt_start_s(tempo_map, first_bar)
    onsets = onsets_after(start_s, clicks_between(tempo_map, first_bar, first_bar + bars - 1), sample_rate_hz)
    frames = round_half_up((tempo_map.time_of_bar(first_bar + bars) - start_s + _TAIL_S) * sample_rate_hz)
    return ClickPlan(onsets, frames, round_half_up(_LEAD_S * sample_rate_hz), _LEAD_S, sample_rate_hz)


def _at_click_level(music: Doubles) -> Doubles:
    peak = float(np.abs(music).max(initial=0.0))
    return music * (10 ** (DEFAULT_PEAK_DBFS / 20) / peak) if peak > 0 else music
