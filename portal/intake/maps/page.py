"""The tempo map under the drummer's hands: what it would be, and how the playing lies on it."""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache
from typing import Any

from analysis.maps import (
    Anchor,
    PooledAttacks,
    TempoMap,
    TempoMapError,
    anchors_of,
    bars_played,
    exact,
    map_through,
    playing_on_map,
)
from analysis.tempo import pooled_attacks
from portal.bookings.models import Song
from portal.intake.errors import MapInputError
from portal.intake.files.stored_features import load_features
from portal.intake.maps.song_maps import map_of_song, measured_map_of
from portal.intake.models import SongCheck, SourceFile

MEASURED = "measured"


def anchors_from(data: Any) -> tuple[Sequence[Anchor], TempoMap]:
    """What the page sends: {"anchors": [{"bar", "time_s", "meter", "ramps", "free"}], "last_bpm"}."""
    try:
        anchors = [Anchor.from_json(item) for item in data["anchors"]]
        return anchors, map_through(anchors, last_bpm=exact(data["last_bpm"]))
    except TempoMapError as error:
        raise MapInputError(f"Not a valid tempo map: {error}.") from error
    except (KeyError, TypeError, ValueError, ZeroDivisionError, OverflowError) as error:
        raise MapInputError("Not a valid tempo map: a number is missing or invalid.") from error


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
    return playing_on_map(tempo_map, anchors, attacks_of(song), duration_of(song))


def playing_by_bar(song: Song, tempo_map: TempoMap, duration_s: float) -> list[dict[str, Any]]:
    """The ruler's bars, each with how late the playing in it is."""
    return bars_played(tempo_map, attacks_of(song), duration_s)


def attacks_of(song: Song) -> PooledAttacks:
    return attacks_in(tuple(source.pk for source in music_of(song)))


def music_of(song: Song) -> list[SourceFile]:
    check = song.checks.done().first()
    clicks = check.click_names if check else set()
    return [source for source in song.sources.current() if source.features_key and source.name not in clicks]


@lru_cache(maxsize=4)
def attacks_in(source_ids: tuple[int, ...]) -> PooledAttacks:
    """Kept for the few songs being worked on: an edit is answered in the time it takes to draw it. What a file's
    survey found never changes under its key."""
    return pooled_attacks([load_features(source) for source in SourceFile.objects.filter(pk__in=source_ids)])


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
