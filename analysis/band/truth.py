"""What is known of a song before a sound is made: the answers that measuring must find."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

from analysis.band.clock import Clock, TempoKind, TempoPlan
from analysis.core.reports import Section
from analysis.maps.tempo_map import Segment, TempoMap


@dataclass(frozen=True)
class Truth:
    """The answers. `bpm` counts felt beats (dotted quarters in 6/8, eighths in 7/8).

    `beats_s` holds count-in and pickup beats too, `downbeats_s` starts at bar one and ends with the end of the last
    bar. `first_sound_s` is the start of the first note heard, human timing included.
    """

    clock: Clock
    kind: TempoKind
    bpm: Fraction
    meter: str
    bar_one_s: Fraction
    bars: int
    pickup_beats: Fraction
    count_in_bars: int
    beats_s: tuple[float, ...]
    downbeats_s: tuple[float, ...]
    tempo_map: TempoMap
    sections: tuple[Section, ...]
    first_sound_s: float

    @property
    def is_constant(self) -> bool:
        return self.kind == "constant" and len({segment.meter for segment in self.tempo_map.segments}) == 1

    @property
    def quarter_bpm(self) -> Fraction:
        """The same tempo in quarter notes a minute, as MIDI files count it."""
        return self.bpm * self.clock.meters[0].quarters_per_beat

    def bar_one_frame(self, sample_rate_hz: int) -> int:
        return self.clock.frame_of_bar(1, sample_rate_hz)


def truth_of(
    tempo: TempoPlan,
    clock: Clock,
    pickup_beats: Fraction,
    count_in_bars: int,
    sections: tuple[Section, ...],
    first_sound_s: float,
) -> Truth:
    before = max(count_in_bars * clock.meters[0].beats_per_bar, -(-pickup_beats // 1))
    beats = [clock.time_of_beat(beat) for beat in range(-before, len(clock.beat_starts_s))]
    return Truth(
        clock=clock,
        kind=tempo.kind,
        bpm=tempo.bpm,
        meter=str(clock.meters[0]),
        bar_one_s=clock.bar_one_s,
        bars=clock.bars,
        pickup_beats=pickup_beats,
        count_in_bars=count_in_bars,
        beats_s=tuple(float(time) for time in beats if time >= 0),
        downbeats_s=tuple(float(clock.time_of_bar(bar)) for bar in range(1, clock.bars + 2)),
        tempo_map=_tempo_map_of(clock),
        sections=sections,
        first_sound_s=first_sound_s,
    )


def _tempo_map_of(clock: Clock) -> TempoMap:
    """One segment for each bar whose mean tempo or meter differs from the bar before."""
    segments: list[Segment] = []
    for bar, meter in enumerate(clock.meters, 1):
        start_s, end_s = clock.time_of_bar(bar), clock.time_of_bar(bar + 1)
        bpm = meter.beats_per_bar * 60 / (end_s - start_s)
        if not segments or (segments[-1].bpm, segments[-1].meter) != (bpm, meter):
            segments.append(Segment(bar, start_s, bpm, meter))
    return TempoMap(tuple(segments))
