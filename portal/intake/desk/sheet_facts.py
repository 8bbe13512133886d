"""The few facts that a song is judged by, at the top of its sheet: what was measured, beside what the client wrote."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from analysis.core import FileReport, SongMeasures, tempo_in_figures, tempo_in_words
from analysis.maps import TempoMap, beat_name_of
from portal.bookings.models import Brief
from portal.people.templatetags.look import clock, measured

NOT_MEASURED = "–"


@dataclass(frozen=True)
class Fact:
    """`value` is what holds (approved, else measured), `detail` how sure it is, `client` what the brief says of it."""

    label: str
    value: str
    detail: str = ""
    client: str = ""
    is_approved: bool = False


def facts_of(
    measures: SongMeasures | None,
    reports: Sequence[FileReport],
    brief: Brief | None,
    approved: TempoMap | None,
) -> tuple[Fact, ...]:
    return (
        tempo_fact(measures, brief, approved),
        meter_fact(measures, brief, approved),
        bar_one_fact(measures, brief, approved),
        length_fact(reports),
        format_fact(reports),
        loudness_fact(reports),
    )


def tempo_fact(measures: SongMeasures | None, brief: Brief | None, approved: TempoMap | None) -> Fact:
    client = tempo_in_words(tempo_in_figures(brief.bpm)) if brief and brief.bpm else ""
    if approved is not None:
        return Fact("Tempo", map_tempo(approved), "", client, is_approved=True)
    tempo = measures.tempo if measures else None
    if measures is None or tempo is None or not tempo.bpm:
        return Fact("Tempo", "no steady tempo" if measures else NOT_MEASURED, "", client)
    named = tempo_in_words(tempo_in_figures(tempo.bpm), beat_name_of(measures.meter.sign))
    kind = "" if tempo.kind == "constant" else "changes, "
    return Fact("Tempo", named, f"{kind}{percent(tempo.confidence)} sure", client)


def meter_fact(measures: SongMeasures | None, brief: Brief | None, approved: TempoMap | None) -> Fact:
    client = brief.meter if brief else ""
    if approved is not None:
        meters = ", ".join(dict.fromkeys(str(one.meter) for one in approved.segments))
        return Fact("Meter", meters, "", client, is_approved=True)
    meter = measures.meter if measures else None
    if meter is None or not meter.beats_per_bar:
        return Fact("Meter", NOT_MEASURED, "", client)
    return Fact("Meter", meter.sign, f"{percent(meter.confidence)} sure", client)


def bar_one_fact(measures: SongMeasures | None, brief: Brief | None, approved: TempoMap | None) -> Fact:
    client = brief.get_starts_display() if brief and brief.is_written else ""
    if client and brief and brief.count_in_bars:
        client = f"{client}, {brief.count_in_bars} bars"
    if approved is not None:
        return Fact("Bar one", clock(float(approved.bar_one_s), 3), "", client, is_approved=True)
    bar_one = measures.bar_one if measures else None
    if bar_one is None or bar_one.time_s is None:
        return Fact("Bar one", NOT_MEASURED, "", client)
    return Fact("Bar one", clock(bar_one.time_s, 3), f"{percent(bar_one.confidence)} sure", client)


def length_fact(reports: Sequence[FileReport]) -> Fact:
    lengths_s = [report.duration_s for report in reports if report.duration_s]
    if not lengths_s:
        return Fact("Length", NOT_MEASURED)
    equal = len({round(length_s, 3) for length_s in lengths_s}) == 1
    return Fact("Length", clock(max(lengths_s)), "" if equal else "the longest of unequal files")


def format_fact(reports: Sequence[FileReport]) -> Fact:
    rates = alike(f"{report.sample_rate_hz / 1000:g} kHz" for report in reports if report.sample_rate_hz)
    depths = alike(f"{report.bit_depth} bit" for report in reports if report.bit_depth)
    return Fact("Rate and depth", ", ".join(filter(None, [rates, depths])) or NOT_MEASURED)


def alike(words: Iterable[str]) -> str:
    """The one word that all share, else all of them: "44.1 kHz and 48 kHz"."""
    return " and ".join(sorted(dict.fromkeys(words)))


def loudness_fact(reports: Sequence[FileReport]) -> Fact:
    """Of the mix where one is named so, else of the loudest file."""
    heard = [report for report in reports if report.loudness_lufs is not None]
    if not heard:
        return Fact("Loudness", NOT_MEASURED)
    report = max(heard, key=lambda one: ("mix" in one.name.lower(), one.loudness_lufs or 0.0))
    return Fact("Loudness", measured(report.loudness_lufs, "LUFS"), report.name)


def map_tempo(tempo_map: TempoMap) -> str:
    """One tempo as it is; of a map that moves the slowest and the fastest."""
    held = [one for one in tempo_map.segments if not one.free] or [tempo_map.first_in_time]
    tempi = sorted({round(float(one.bpm), 3) for one in held})
    figures = tempo_in_figures(tempi[0]) if len(tempi) == 1 else f"{tempi[0]:.1f} to {tempi[-1]:.1f}"
    return tempo_in_words(figures, " or ".join(dict.fromkeys(one.meter.beat_name for one in held)))


def percent(share: float) -> str:
    return f"{round(100 * share)} %"
