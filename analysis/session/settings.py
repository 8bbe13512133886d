"""What a house wants of its sessions. Tested in `tests/analysis/session/test_timeline.py`."""

from __future__ import annotations

from dataclasses import dataclass, field

from analysis.core.reports import Record
from analysis.maps.click_style import ClickStyle
from analysis.session.file_names import DEFAULT_TEMPLATE


@dataclass(frozen=True)
class SessionSettings(Record):
    """What a house wants of its sessions. `clock_start_h` is the hour that the session's start has on its clock."""

    sample_rate_hz: int = 48_000
    bit_depth: int = 24
    start_bar: int = 3
    count_in_bars: int = 2
    clock_start_h: int = 0
    name_template: str = DEFAULT_TEMPLATE
    click: ClickStyle = field(default_factory=ClickStyle)
