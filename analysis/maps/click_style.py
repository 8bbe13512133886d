"""How a click sounds and which of its clicks are played: what a person chooses. Where they lie is the map's alone."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

from analysis.core.reports import Record
from analysis.maps.tempo_map import MeterSign

# House choices: a usual level, and what nothing asked for can pass, so that there is room below full scale for what
# lies between the samples.
DEFAULT_PEAK_DBFS = -12.0
CEILING_DBTP = -6.0
# A sound that starts at once swings a little higher between the samples than on them.
BETWEEN_SAMPLES_DB = 1.5
HIGHEST_PEAK_DBFS = CEILING_DBTP - BETWEEN_SAMPLES_DB

BEAT, TRIPLET = "beat", "triplet"
# Clicks for each quarter note; none for "beat", which plays the beats of the meter and nothing between them.
SUBDIVISIONS: dict[str, int | None] = {BEAT: None, "quarter": 1, "eighth": 2, TRIPLET: 3, "sixteenth": 4}
SOUNDS = ("sine", "wood", "tick", "square")


@dataclass(frozen=True)
class ClickStyle(Record):
    """`bars_on` bars of click and `bars_off` without, in turn from bar one on; with no bars off it never stops."""

    subdivision: str = BEAT
    bars_on: int = 1
    bars_off: int = 0
    sound: str = SOUNDS[0]
    peak_dbfs: float = DEFAULT_PEAK_DBFS

    def __post_init__(self) -> None:
        if self.subdivision not in SUBDIVISIONS:
            raise ValueError(f"the subdivision must be one of {', '.join(SUBDIVISIONS)}, not {self.subdivision}")
        if self.sound not in SOUNDS:
            raise ValueError(f"the sound must be one of {', '.join(SOUNDS)}, not {self.sound}")
        if self.bars_on < 1 or self.bars_off < 0:
            raise ValueError("a click has 1 or more bars on and 0 or more bars off")

    @property
    def accent_peak_dbfs(self) -> float:
        """Of the loudest click: what is asked for, under the ceiling."""
        return min(self.peak_dbfs, HIGHEST_PEAK_DBFS)

    def sounds_in(self, bar: int) -> bool:
        """Bars before bar one lead up to it, and always sound."""
        return bar < 1 or (bar - 1) % (self.bars_on + self.bars_off) < self.bars_on

    def parts_of_beat(self, meter: MeterSign) -> int:
        """Into how many equal parts the beat is clicked. A value that does not divide the beat adds nothing to it.

        A compound beat has three eighths, which are its triplet as well (music theory); elsewhere a triplet is three
        to a quarter.
        """
        per_quarter = SUBDIVISIONS[self.subdivision]
        if per_quarter is None:
            return 1
        if meter.is_compound and self.subdivision == TRIPLET:
            return 3
        parts = Fraction(meter.quarters_per_beat * per_quarter)
        return parts.numerator if parts.denominator == 1 else 1
