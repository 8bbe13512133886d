"""The tempo map under the drummer's hands: what it would be, and how the playing lies on it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from analysis.maps import (
    Anchor,
    Lean,
    Residual,
    TempoMap,
    TempoMapError,
    anchors_of,
    exact,
    leans_by_anchor,
    leans_by_bar,
    map_through,
    residual_of,
    weighted_middle,
)
from analysis.tempo import pool
from portal.bookings.models import Song
from portal.intake.errors import MapInputError
from portal.intake.files.stored_features import load_features
from portal.intake.maps.song_maps import bars_of, beats_of, map_of_song, measured_map_of
from portal.intake.models import SongCheck, SourceFile

# More dots than this are one ink blot on any screen.
MOST_DOTS = 4_000
DIGITS = 4
MEASURED = "measured"
Doubles = NDArray[np.float64]


@dataclass(frozen=True)
class Attacks:
    time_s: Doubles
    weight: Doubles


def anchors_from(data: Any) -> tuple[Sequence[Anchor], TempoMap]:
    """What the page sends: {"anchors": [{"bar", "time_s", "meter", "ramps", "free"}], "last_bpm"}."""
    try:
        anchors = [Anchor.from_json(item) for item in data["anchors"]]
        return anchors, map_through(anchors, last_bpm=exact(data["last_bpm"]))
    except TempoMapError as error:
        raise MapInputError(f"This makes no map: {error}.") from error
    except (KeyError, TypeError, ValueError, ZeroDivisionError, OverflowError) as error:
        raise MapInputError("This makes no map: a figure is missing, or is none.") from error


def start_of(song: Song, begin_from: str = "") -> dict[str, Any]:
    """The approved map as anchors, else the measured one, else a plain 120 to begin from. `begin_from`: the number of
    an earlier version, or "measured"; what is none of these is not there."""
    tempo_map = map_of_song(song)
    if begin_from == MEASURED:
        tempo_map = measured_map_of(song)
    elif begin_from.isdecimal() and (version := song.maps.filter(version=int(begin_from[:4])).first()):
        tempo_map = TempoMap.from_json(version.map)
    tempo_map = tempo_map or TempoMap.constant(120)
    return {
        "anchors": [anchor.to_json() for anchor in anchors_of(tempo_map)],
        "last_bpm": str(tempo_map.segments[-1].bpm),
    }


def seen_on(song: Song, anchors: Sequence[Anchor], tempo_map: TempoMap) -> dict[str, Any]:
    """Everything that the page draws of one map: its tempi, its bars, and how late each attack is on it."""
    residual, duration_s = residual_on(song, tempo_map), duration_of(song)
    starts_s = [float(anchor.time_s) for anchor in anchors]
    leans = leans_by_anchor(residual, starts_s, max(duration_s, starts_s[-1] + 1))
    return {
        "duration_s": duration_s,
        "stretches": [stretch_of(anchor, tempo_map, lean) for anchor, lean in zip(anchors, leans, strict=True)],
        "bars": bars_played(tempo_map, duration_s, residual),
        "beats_s": beats_of(tempo_map, duration_s),
        "dots": dots_of(residual),
        "spread_ms": spread_of(residual),
    }


def residual_on(song: Song, tempo_map: TempoMap) -> Residual:
    attacks = attacks_of(song)
    return residual_of(tempo_map, attacks.time_s, attacks.weight)


def bars_played(tempo_map: TempoMap, duration_s: float, residual: Residual) -> list[dict[str, Any]]:
    """The ruler's bars, each with how late the playing in it is and how many attacks say so."""
    bars = list(bars_of(tempo_map, duration_s))
    leans = leans_by_bar(residual, tempo_map, [line["bar"] for line in bars])
    return [
        line | {"late_ms": rounded_ms(lean.late_ms), "attacks": lean.count}
        for line, lean in zip(bars, leans, strict=True)
    ]


def stretch_of(anchor: Anchor, tempo_map: TempoMap, lean: Lean) -> dict[str, Any]:
    segment = tempo_map.segment_at_bar(anchor.bar)
    return {
        "bpm": round(float(segment.bpm), DIGITS),
        "beat_s": float(segment.beat_s),
        "late_ms": rounded_ms(lean.late_ms),
        "spread_ms": rounded_ms(lean.spread_ms),
        "attacks": lean.count,
    }


def rounded_ms(ms: float | None) -> float | None:
    return None if ms is None else round(ms, 1)


def dots_of(residual: Residual) -> list[list[float]]:
    """Time, lateness in ms, weight from 0 to 1; the strongest when there are too many."""
    if not len(residual.time_s):
        return []
    strongest = np.sort(np.argsort(-residual.weight)[:MOST_DOTS])
    share = residual.weight[strongest] / residual.weight.max()
    table = np.stack([residual.time_s[strongest], residual.late_ms[strongest], share], axis=1)
    rounded: list[list[float]] = table.round(3).tolist()
    return rounded


def spread_of(residual: Residual) -> float | None:
    """The weighted median distance from the map, over the whole song."""
    if not len(residual.late_ms):
        return None
    return round(weighted_middle(np.abs(residual.late_ms), residual.weight), 1)


def attacks_of(song: Song) -> Attacks:
    return attacks_in(tuple(source.pk for source in music_of(song)))


def music_of(song: Song) -> list[SourceFile]:
    check = song.checks.done().first()
    clicks = check.click_names if check else set()
    return [source for source in song.sources.current() if source.features_key and source.name not in clicks]


@lru_cache(maxsize=4)
def attacks_in(source_ids: tuple[int, ...]) -> Attacks:
    """Kept for the few songs being worked on: an edit is answered in the time it takes to draw it. What a file's
    survey found never changes under its key."""
    music = pool([load_features(source) for source in SourceFile.objects.filter(pk__in=source_ids)])
    if music is None:
        return Attacks(np.zeros(0), np.zeros(0))
    return Attacks(np.asarray(music.onset_s, np.float64), np.asarray(music.onset_weight, np.float64))


def duration_of(song: Song) -> float:
    lengths_s = [source.numbers.duration_s or 0.0 for source in song.sources.current() if source.numbers]
    return max(lengths_s, default=0.0)


def picture_source(song: Song) -> SourceFile | None:
    return main_source(list(song.sources.current()), song.checks.done().first())


def main_source(sources: Sequence[SourceFile], check: SongCheck | None) -> SourceFile | None:
    """The file to show the song by: one that calls itself a mix, else the loudest that is no click."""
    clicks = check.click_names if check else set()
    drawn = [source for source in sources if source.features_key]
    return max(
        drawn,
        key=lambda source: (source.name not in clicks, "mix" in source.name.lower(), loudness_of(source)),
        default=None,
    )


def loudness_of(source: SourceFile) -> float:
    numbers = source.numbers
    return -200.0 if numbers is None or numbers.loudness_lufs is None else numbers.loudness_lufs
