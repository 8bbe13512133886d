"""A click as samples, for tests that listen to one."""

from __future__ import annotations

from analysis.core.samples import Doubles
from analysis.maps.click import plan_click
from analysis.maps.click_sound import render_plan
from analysis.maps.click_style import ClickStyle
from analysis.maps.tempo_map import TempoMap


def render_click(
    tempo_map: TempoMap,
    *,
    bars: int,
    count_in_bars: int = 2,
    sample_rate_hz: int = 48_000,
    style: ClickStyle | None = None,
) -> Doubles:
    plan = plan_click(tempo_map, bars=bars, count_in_bars=count_in_bars, sample_rate_hz=sample_rate_hz, style=style)
    return render_plan(plan, style=style)
