"""A song's measures as a drummer reads them: what to set, how sure, what else it could be, what rounding costs."""

from __future__ import annotations

from analysis.core.reports import Alternative, MapSegment, SongMeasures, Tempo
from analysis.core.sentences import written
from analysis.core.units import seconds_as_clock, tempo_in_words
from analysis.maps.click_drift import click_drift_s
from analysis.maps.tempo_map import beat_name_of

_MOST_MAP_LINES = 12  # house choice: half a terminal's height
# Below this a click set to the rounded tempo stays good to the end (house choice; 10 ms is a fault).
_WORTH_SAYING_MS = 1.0
_WORTH_NAMING = 0.005  # rounds to 1 % (house choice)


def song_lines(song: SongMeasures) -> list[str]:
    lines = _tempo_lines(song)
    if song.meter.beats_per_bar is not None:
        lines.append(f"Meter    {song.meter.sign} (confidence {song.meter.confidence:.0%})")
    one = song.bar_one
    if one.time_s is not None:
        pickup = f", pickup of {written('beats', one.pickup_beats)}" if one.pickup_beats else ""
        counted = f", count-in of {song.count_in_bars:g} bars" if song.count_in_bars else ""
        lines.append(
            f"Bar one  at {one.time_s:.4f} s, frame {one.frame} (confidence {one.confidence:.0%}){pickup}{counted}"
        )
    return lines + _map_lines(song)


def _tempo_lines(song: SongMeasures) -> list[str]:
    tempo = song.tempo
    if tempo.bpm is None:
        return ["Tempo    none found"]
    if tempo.kind == "none":
        return [f"Tempo    none found in the sound; the brief says {tempo.bpm:.6g} bpm"]
    source = f", from the {tempo.source}" if tempo.source else ""
    words = tempo_in_words(f"{tempo.bpm:.7g}", beat_name_of(song.meter.sign))
    lines = [f"Tempo    {words}: {tempo.kind}{source}, confidence {tempo.confidence:.0%}"]
    if tempo.kind == "constant" and tempo.bpm_low is not None and tempo.bpm_high is not None:
        lines.append(f"         between {tempo.bpm_low:.4f} and {tempo.bpm_high:.4f} (95 % interval)")
    if tempo.residual_ms is not None:
        lines.append(f"         the playing varies by {tempo.residual_ms:.1f} ms around the grid")
    lines += _rounding_lines(tempo, song.beats_s[-1] - song.beats_s[0] if song.beats_s else 0.0)
    others = [
        f"{_reading_words(other, song)} {other.weight:.0%}"
        for other in tempo.alternatives
        if other.weight >= _WORTH_NAMING
    ]
    return lines + ([f"         or {', '.join(others)}"] if others else [])


def _reading_words(other: Alternative, song: SongMeasures) -> str:
    words = tempo_in_words(f"{other.bpm:.6g}", beat_name_of(other.meter or song.meter.sign))
    return f"{words} ({other.label})" if other.label else words


def _rounding_lines(tempo: Tempo, length_s: float) -> list[str]:
    """How far a click at the whole tempo nearby would be off by the end."""
    if tempo.kind != "constant" or tempo.bpm is None:
        return []
    whole = round(tempo.bpm)
    off_ms = abs(1000 * click_drift_s(tempo.bpm, whole, length_s)) if whole else 0.0
    if off_ms < _WORTH_SAYING_MS:
        return []
    return [f"         a click at {whole} would be {off_ms:.0f} ms off by the end"]


def _map_lines(song: SongMeasures) -> list[str]:
    if not song.tempo_map or (song.tempo.kind != "map" and len(song.tempo_map) == 1):
        return []
    shown = song.tempo_map[:_MOST_MAP_LINES]
    lines = [
        f"{'Map' if segment is shown[0] else '':9}bar {segment.bar} at {seconds_as_clock(segment.time_s)}: "
        + (f"free, counted in {segment.meter}" if segment.free else _segment_words(segment))
        for segment in shown
    ]
    more = len(song.tempo_map) - len(shown)
    return lines + ([f"{'':9}and {more} more segments"] if more else [])


def _segment_words(segment: MapSegment) -> str:
    return f"{tempo_in_words(f'{segment.bpm:.3f}', beat_name_of(segment.meter))}, {segment.meter}"
