"""A chart from a draft: every bar that was measured as a written bar, with what was heard in it, then folded or not.

Measured places go to the grid of charts (`beats.snapped`); where sixteenths and triplets would share a quarter, all of
it is written in sixteenths. A groove is written where it begins and changes, once; dynamics where they change.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from math import ceil

from analysis.chart.beats import (
    SIXTEENTH,
    felt_beat_units,
    from_bar_line,
    mixed_beats,
    quarters_per_unit,
    snapped,
    snapped_length,
)
from analysis.chart.document import (
    DRUMS,
    REST,
    RHYTHM,
    SLASHES,
    Bar,
    Chart,
    Dynamic,
    Hit,
    Note,
    Section,
    Span,
    Tempo,
    Words,
)
from analysis.chart.entries import FADE_WORDS, entry_words
from analysis.chart.reading import MOST_BARS
from analysis.core.chart_draft import ChartDraft
from analysis.core.errors import ChartError
from analysis.core.texts import clean_text
from analysis.maps.tempo_map import MeterSign, TempoMap

# A change of tempo below this is drift, not something to read (house choice).
_LEAST_CHANGE = 0.04
_FREE, _IN_TIME, _SLOWER = "freely", "in time", "rit."
_GROOVE_VOICES = ("kick", "snare", "hat")


@dataclass(frozen=True)
class Unit:
    """A section as drafted, before it is written: its bars without groove, what the drums play in it, how loud, who
    comes in or leaves with it."""

    letter: str
    bars: tuple[Bar, ...]
    groove: tuple[Note, ...] = ()
    dynamic: str = ""
    entries: str = ""


def units_of(draft: ChartDraft, tempo_map: TempoMap | None = None) -> tuple[Unit, ...]:
    """The drafted sections in order of time; one without a letter where nothing was divided."""
    if draft.bars > MOST_BARS:
        raise ChartError(f"the draft has {draft.bars} bars; a chart has {MOST_BARS} at most")
    bars = _bars(draft, tempo_map)
    grooves = {one.section: one for one in draft.grooves}
    units = []
    for number, section in enumerate(draft.sections, 1):
        first = section.start_bar - 1
        own = bars[first : first + section.bars]
        if not own or first < 0:
            continue
        groove = grooves.get(number)
        beats = {voice: getattr(groove, voice) for voice in _GROOVE_VOICES} if groove else {}
        dynamic, entries = section.dynamic or "", entry_words(draft, number)
        units.append(Unit(section.label, tuple(own), _groove(beats, own[0].meter), dynamic, entries))
    if bars and not units:
        units.append(Unit("", tuple(bars)))
    return (*_pickup(draft, bars), *units)


def first_bar_of(draft: ChartDraft) -> int:
    """The song's number of the chart's first bar: 0 where it begins with a pickup."""
    return 0 if _pickup_units(draft) else 1


def _pickup(draft: ChartDraft, bars: Sequence[Bar]) -> Iterator[Unit]:
    """A short bar of its own before bar one: the drums count, the band begins in it."""
    length = _pickup_units(draft)
    if bars and length:
        meter = MeterSign(length, bars[0].meter.lower)
        words = Words(f"pickup, {draft.pickup_beats:g} beat{'' if draft.pickup_beats == 1 else 's'}")
        yield Unit("", (Bar(meter, shows=REST, words=(words,)),))


def _pickup_units(draft: ChartDraft) -> int:
    """Whole written beats, up to a bar of them; what is shorter than half of one is a late or early note."""
    if not draft.meters or not draft.bars:
        return 0
    meter = MeterSign.parse(draft.meters[0].meter)
    felt = round(2 * draft.pickup_beats) / 2
    return min(ceil(felt * felt_beat_units(meter)), meter.upper)


def header(draft: ChartDraft, title: str, artist: str, tempo_map: TempoMap | None) -> Chart:
    """A chart without bars: what stands above them."""
    meter = MeterSign.parse(draft.meters[0].meter) if draft.meters else MeterSign(4, 4)
    tempo = Tempo(_rounded(tempo_map.first_in_time.bpm)) if tempo_map else None
    first = first_bar_of(draft)
    return Chart(clean_text(title), (), meter=meter, artist=clean_text(artist), tempo=tempo, first_bar=first)


def _rounded(bpm: Fraction) -> Fraction:
    """As people write a tempo: to the tenth."""
    return Fraction(round(bpm * 10), 10)


def written(units: Sequence[Unit]) -> tuple[Section, ...]:
    """Units as sections, in full: a letter that comes again is numbered, A, A2."""
    times: dict[str, int] = {}
    sections = []
    for unit in units:
        times[unit.letter] = times.get(unit.letter, 0) + 1
        again = f"{times[unit.letter]}" if unit.letter and times[unit.letter] > 1 else ""
        sections.append(Section(unit.letter + again, unit.bars))
    return with_groove_and_dynamics(sections, units)


def with_groove_and_dynamics(sections: Sequence[Section], units: Sequence[Unit]) -> tuple[Section, ...]:
    """Write each section's dynamic and who comes in into its first bar, and its groove into the first bar that has
    nothing else to read, unless they go on from the section before.

    `units` has the first unit that each section stands for.
    """
    groove: tuple[Note, ...] = ()
    dynamic = ""
    found = []
    for section, unit in zip(sections, units, strict=True):
        bars = list(section.bars)
        place = next((at for at, bar in enumerate(bars) if _is_plain(bar, bars[0].meter)), None)
        if unit.groove and unit.groove != groove and place is not None:
            bars[place] = replace(bars[place], shows=DRUMS, notes=unit.groove)
            groove = unit.groove
        if unit.dynamic and unit.dynamic != dynamic:
            bars[0] = replace(bars[0], dynamics=(Dynamic(unit.dynamic), *bars[0].dynamics))
            dynamic = unit.dynamic
        if unit.entries:
            bars[0] = replace(bars[0], words=(Words(unit.entries), *bars[0].words))
        found.append(replace(section, bars=tuple(bars)))
    return tuple(found)


def _is_plain(bar: Bar, meter: MeterSign) -> bool:
    """Whether a groove can be written here: its meter, and nothing else to play."""
    return bar.shows == SLASHES and bar.meter == meter and not (bar.hits or bar.stops or bar.fills)


def _bars(draft: ChartDraft, tempo_map: TempoMap | None) -> list[Bar]:
    meters = _meters(draft)
    bars = [Bar(meter) for meter in meters]
    for number in range(1, len(bars) + 1):
        bar = bars[number - 1]
        hits = [(snapped(one.beat, bar.meter), one.length_beats) for one in draft.hits if one.bar == number]
        bars[number - 1] = replace(bar, hits=_hits(hits, bar.meter))
    for place, number in enumerate(draft.fills):
        if 1 <= number <= len(bars):
            bars[number - 1] = replace(bars[number - 1], fills=(_fill(draft, place, bars[number - 1].meter),))
    _stop(draft, bars)
    if tempo_map:
        _tempos(bars, tempo_map)
    _end(draft, bars)
    return bars


def _fill(draft: ChartDraft, place: int, meter: MeterSign) -> Span:
    """To the end of its bar, from where it was found to begin; a draft that does not say so has it all."""
    beat = snapped(draft.fill_beats[place], meter) if place < len(draft.fill_beats) else Fraction(1)
    begins = beat if 1 <= beat < meter.upper + 1 else Fraction(1)
    return Span(begins, meter.upper + 1 - begins)


def _meters(draft: ChartDraft) -> list[MeterSign]:
    changes = {one.bar: MeterSign.parse(one.meter) for one in draft.meters}
    now = next(iter(changes.values()), MeterSign(4, 4))
    meters = []
    for number in range(1, draft.bars + 1):
        now = changes.get(number, now)
        meters.append(now)
    return meters


def _hits(found: Iterable[tuple[Fraction, float]], meter: MeterSign) -> tuple[Hit, ...]:
    lengths = dict(found)
    beats = in_one_grid(lengths, meter)
    return tuple(
        Hit(after, snapped_length(lengths[before], meter))
        for before, after in sorted(beats.items(), key=lambda one: one[1])
    )


def in_one_grid(beats: Iterable[Fraction], meter: MeterSign) -> dict[Fraction, Fraction]:
    """Each beat where it can be written: quarters that mix sixteenths and triplets all in sixteenths, none twice."""
    quarters = {beat: from_bar_line(beat, meter) for beat in beats}
    mixed = set(mixed_beats(quarters.values()))
    found: dict[Fraction, Fraction] = {}
    for beat, place in sorted(quarters.items()):
        at = int(place) + min(round(place % 1 / SIXTEENTH), 3) * SIXTEENTH if int(place) in mixed else place
        after = 1 + at / quarters_per_unit(meter)
        if after not in found.values():
            found[beat] = after
    return found


def _groove(beats: dict[str, Sequence[float]], meter: MeterSign) -> tuple[Note, ...]:
    every = {snapped(beat, meter) for some in beats.values() for beat in some}
    grid = in_one_grid(every, meter)
    notes = {
        (grid[place], voice)
        for voice, some in beats.items()
        for beat in some
        if (place := snapped(beat, meter)) in grid
    }
    return tuple(Note(beat, voice=voice) for beat, voice in sorted(notes))


def _stop(draft: ChartDraft, bars: list[Bar]) -> None:
    """A stop that goes over a bar line is one in each bar."""
    for stop in draft.stops:
        number, left = stop.bar, Fraction(stop.beats).limit_denominator(96)
        start = snapped(stop.beat, bars[number - 1].meter) if 1 <= number <= len(bars) else Fraction(1)
        while left > 0 and 1 <= number <= len(bars):
            meter = bars[number - 1].meter
            room = meter.upper + 1 - start
            length = min(snapped_length(float(left), meter), room)
            bars[number - 1] = replace(bars[number - 1], stops=(*bars[number - 1].stops, Span(start, length)))
            number, left, start = number + 1, left - room, Fraction(1)


def _tempos(bars: list[Bar], tempo_map: TempoMap) -> None:
    """Changes of tempo that somebody reads, and where the song goes free."""
    now = tempo_map.first_in_time.bpm * tempo_map.first_in_time.meter.quarters_per_beat
    free = False
    for number, bar in enumerate(bars, 1):
        segment = tempo_map.segment_at_bar(number)
        words: tuple[Words, ...] = ()
        if segment.free != free:
            words, free = (Words(_FREE if segment.free else _IN_TIME),), segment.free
        quarters = segment.bpm * segment.meter.quarters_per_beat
        tempo = None
        if not segment.free and abs(quarters / now - 1) >= _LEAST_CHANGE:
            tempo, now = Tempo(_rounded(segment.bpm)), quarters
        bars[number - 1] = replace(bar, words=(*bar.words, *words), tempo=tempo)


def _end(draft: ChartDraft, bars: list[Bar]) -> None:
    number = draft.ending.bar
    if not 1 <= number <= len(bars):
        return
    bar = bars[number - 1]
    short, whole = min(Fraction(1), Fraction(bar.meter.upper)), Fraction(bar.meter.upper)
    said = {"ritardando": _SLOWER, "fade": FADE_WORDS}.get(draft.ending.kind)
    if said:
        bars[number - 1] = replace(bar, words=(*bar.words, Words(said)))
    elif draft.ending.kind == "hit":
        bars[number - 1] = replace(bar, shows=RHYTHM, notes=(Note(Fraction(1), short, accent=True),), hits=(), stops=())
    elif draft.ending.kind == "held":
        note = Note(Fraction(1), whole)
        bars[number - 1] = replace(bar, shows=RHYTHM, notes=(note,), hits=(), stops=(), held=Fraction(1))
