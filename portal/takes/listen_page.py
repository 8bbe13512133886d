"""Everything that listening to a song's takes needs: what is heard, where each begins, how loud it is, and the bars.

The page's time begins where the earliest of what is heard begins; everything is laid onto it by whole frames of its
own rate.
"""

from __future__ import annotations

import json
from dataclasses import dataclass
from typing import Any

from django.urls import reverse

from analysis.maps import TempoMap, bars_of
from portal.bookings.models import Song
from portal.intake.maps.song_maps import map_of_song
from portal.lanes.page import named_sections, sections_of
from portal.lanes.sound import Playable
from portal.people.models import User
from portal.takes.feel_page import FeelPage, feel_page
from portal.takes.models import MusicCopy, RoughMix
from portal.takes.music import ask_for_music
from portal.takes.notes_page import NotesPage, notes_page
from portal.takes.page import TakesPage, takes_page
from portal.takes.placing import ask_for_places


@dataclass(frozen=True)
class MixCopy:
    """A rough mix's copy as something to play."""

    key: str
    sample_rate_hz: int
    channels: int
    frames: int

    @classmethod
    def of(cls, mix: RoughMix) -> MixCopy:
        report = mix.report or {}
        return cls(
            mix.proxy_key, report.get("sample_rate_hz") or 0, report.get("channels") or 1, report.get("frames") or 0
        )


@dataclass(frozen=True)
class ListenPage:
    song: Song
    user: User
    takes: TakesPage
    notes: NotesPage
    mixes: tuple[RoughMix, ...]
    music: MusicCopy | None
    facts: dict[str, Any]
    # For the drummer alone.
    feel: FeelPage | None

    @property
    def facts_json(self) -> str:
        return json.dumps(self.facts)

    @property
    def music_is_made(self) -> bool:
        return self.music is not None and self.music.state == MusicCopy.State.MADE


def listen_page(song: Song, user: User, *, is_opened: bool = True) -> ListenPage:
    """`is_opened`: not one that only refreshes a part."""
    takes = takes_page(song, user)
    mixes = tuple(mix for mix in (takes.newest, *takes.older) if mix is not None and mix.proxy_key and mix.report)
    music = ask_for_music(song)
    waiting = ask_for_places(song, is_opened=is_opened) if user.is_drummer else []
    return ListenPage(
        song=song,
        user=user,
        takes=takes,
        notes=notes_page(song, user),
        mixes=mixes,
        music=music,
        feel=feel_page(mixes, waiting, dict(named_sections(song))) if user.is_drummer and mixes else None,
        facts=facts_of(song, mixes, music if music and music.state == MusicCopy.State.MADE else None),
    )


def facts_of(song: Song, mixes: tuple[RoughMix, ...], music: MusicCopy | None) -> dict[str, Any]:
    """What the page's script is given. Times count from the page's own beginning."""
    origin_s = min([0.0, *(mix.begins_at_s for mix in mixes)])
    tempo_map = map_of_song(song)
    lanes = [_mix_lane(mix, origin_s) for mix in mixes]
    music_lane = _lane(music, reverse("takes:music", args=[song.pk]), -origin_s, music.loudness_lufs) if music else None
    duration_s = max((lane["duration_s"] for lane in [*lanes, *([music_lane] if music_lane else [])]), default=0.0)
    return {
        "duration_s": duration_s,
        "takes": lanes,
        "music": music_lane,
        "bars": _bars(tempo_map, duration_s, origin_s),
        "sections": [one | {"time_s": one["time_s"] - origin_s} for one in sections_of(song, tempo_map)],
    }


def _bars(tempo_map: TempoMap | None, duration_s: float, origin_s: float) -> list[dict[str, Any]]:
    return [bar | {"time_s": bar["time_s"] - origin_s} for bar in bars_of(tempo_map, duration_s + origin_s)]


def _mix_lane(mix: RoughMix, origin_s: float) -> dict[str, Any]:
    loudness = (mix.report or {}).get("loudness_lufs")
    lane = _lane(MixCopy.of(mix), reverse("takes:sound", args=[mix.pk]), mix.begins_at_s - origin_s, loudness)
    label = f"Rough mix {mix.number}" + (f", take {mix.take.number}" if mix.take else "")
    return lane | {"id": mix.pk, "label": label, "holds": mix.holds}


def _lane(copy: Playable, sound: str, begins_s: float, loudness_lufs: float | None) -> dict[str, Any]:
    """`lead`: frames before its own first one; `frames` counts them in."""
    lead = round(begins_s * copy.sample_rate_hz)
    frames = max(0, copy.frames + lead)
    return {
        "sound": sound,
        "lead": lead,
        "frames": frames,
        "sample_rate_hz": copy.sample_rate_hz,
        "duration_s": frames / copy.sample_rate_hz if copy.sample_rate_hz else 0.0,
        "loudness_lufs": loudness_lufs,
    }
