"""A chart's draft as a person reads it in a terminal: bars and meter, then a line for each section."""

from __future__ import annotations

from analysis.chart.entries import entry_words
from analysis.core.chart_draft import ChartDraft, Hit, SectionGroove, Stop

_NO_BARS = "No bars were found in these files, so there is nothing to draft."
_NO_FORM = "Too few bars, or too many, to divide into sections."


def chart_text(draft: ChartDraft) -> str:
    if not draft.bars:
        return _NO_BARS
    changes = ", ".join(f"{one.meter} from bar {one.bar}" for one in draft.meters)
    pickup = f", after a pickup of {draft.pickup_beats:g} beats" if draft.pickup_beats else ""
    lines = [f"{draft.bars} bars, {changes}{pickup}", ""]
    lines += [_section_line(draft, number) for number in range(1, len(draft.sections) + 1)] or [_NO_FORM]
    lines += _groove_lines(draft.grooves)
    if draft.ending.kind != "none":
        lines += ["", f"Ending: {draft.ending.kind}, bar {draft.ending.bar}"]
    return "\n".join(lines)


def _section_line(draft: ChartDraft, number: int) -> str:
    section = draft.sections[number - 1]
    end = section.start_bar + section.bars
    inside = range(section.start_bar, end)
    notes = [words] if (words := entry_words(draft, number)) else []
    notes += [_hit_words(hit) for hit in draft.hits if hit.bar in inside]
    notes += [_stop_words(stop) for stop in draft.stops if stop.bar in inside]
    notes += [_fill_words(draft, place) for place, bar in enumerate(draft.fills) if bar in inside]
    bars = f"bars {section.start_bar}-{end - 1} ({section.bars})"
    line = f"{section.label:<2} {bars:<18} {section.dynamic:<3} sure {section.confidence:.0%}"
    return f"{line}  {', '.join(notes)}".rstrip()


def _fill_words(draft: ChartDraft, place: int) -> str:
    begins = f":{draft.fill_beats[place]:g}" if place < len(draft.fill_beats) else ""
    return f"fill {draft.fills[place]}{begins}"


def _hit_words(hit: Hit) -> str:
    return f"hit {hit.bar}:{hit.beat:g}"


def _stop_words(stop: Stop) -> str:
    return f"stop {stop.bar}:{stop.beat:g} for {stop.beats:g}"


def _groove_lines(grooves: tuple[SectionGroove, ...]) -> list[str]:
    return [
        f"Groove of section {one.section}: kick {_beats(one.kick)}; snare {_beats(one.snare)}; hat {_beats(one.hat)}"
        for one in grooves
    ]


def _beats(beats: tuple[float, ...]) -> str:
    return " ".join(f"{beat:g}" for beat in beats) or "none"
