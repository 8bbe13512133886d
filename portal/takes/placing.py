"""Lines a rough mix up to its song by itself, and measures its feel from there.

Where the mix holds the client's music, to the sample; else among the places that are known (`analysis.handover`).
"""

from __future__ import annotations

import hashlib
import logging
from contextlib import ExitStack
from dataclasses import dataclass
from datetime import timedelta
from pathlib import Path

from django.db import transaction
from django.utils import timezone

from analysis.core import UnusableFileError
from analysis.sandbox import place_take_in_child
from portal.bookings.models import Song
from portal.file_serving import local_copy
from portal.lanes.page import named_sections
from portal.queueing import queue_task_on_commit
from portal.takes.about import begins_at_s, session_begins_at_s
from portal.takes.models import MusicCopy, RoughMix
from portal.takes.music import ask_for_music, make_music
from portal.takes.stages import STAGES_OF_MIXES
from portal.uploads import parts
from portal.uploads.errors import UploadBusyError

LEFT_ALONE_FOR = timedelta(minutes=2)
MOST_TRIES = 3
# Raised when the same files come to give another place or feel.
PLACED_BY = "1"
CAN_BE_PLACED = (RoughMix.State.READY, *RoughMix.HEARD)

logger = logging.getLogger(__name__)


def place(rough_mix_id: int) -> None:
    """One worker at a time. What it was found with is kept: a new map, other music or another word place it anew."""
    try:
        with parts.locked(f"place-{rough_mix_id}"):
            _place(rough_mix_id)
    except UploadBusyError:
        logger.info("rough mix %s is being placed already", rough_mix_id)


def _place(rough_mix_id: int) -> None:
    mix = RoughMix.objects.select_related("song").get(pk=rough_mix_id)
    if mix.state not in CAN_BE_PLACED or mix.place_tries >= MOST_TRIES:
        return
    music = music_of(mix)
    fingerprint = fingerprint_of(mix, music, song_bars(mix.song))
    if mix.placed_by == fingerprint:
        return
    mix.begin_placing()
    approved = mix.song.maps.first()
    with ExitStack() as lent:
        path = lent.enter_context(local_copy(mix.key))
        under: Path | None = lent.enter_context(local_copy(music.key)) if music else None
        try:
            found = place_take_in_child(
                path,
                known_s=known_s(mix),
                music=under,
                map=approved.map if approved else None,
                starts=[bar for bar, _ in named_sections(mix.song)],
            )
        except UnusableFileError as error:
            logger.warning("rough mix %s was not placed: this file %s", rough_mix_id, error.reason)
            return
    with transaction.atomic():
        mix = RoughMix.objects.select_for_update(of=("self",)).select_related("song").get(pk=rough_mix_id)
        if fingerprint_of(mix, music, song_bars(mix.song)) == fingerprint:  # else what was said of it changed meanwhile
            mix.put_in_place(found.to_json(), begins_at_s=found.begins_s, by=fingerprint)
    logger.info("rough mix %s: placed by %s", rough_mix_id, found.found_by)


def music_of(mix: RoughMix) -> MusicCopy | None:
    """What the mix may hold of the client's; made here where nobody asked for it yet."""
    if mix.holds != RoughMix.Holds.MIX:
        return None
    copy = ask_for_music(mix.song)
    if copy is not None and copy.state == MusicCopy.State.MAKING:
        make_music(copy.pk)
        copy.refresh_from_db()
    return copy if copy is not None and copy.state == MusicCopy.State.MADE else None


def known_s(mix: RoughMix) -> list[float]:
    """What was said of it first; then the other places where a mix of this song may begin."""
    session_s = session_begins_at_s(mix.song)
    stated_s = mix.begins_at_s if not mix.is_placed_by_sound else begins_at_s(mix.song, mix.begins)
    return list(dict.fromkeys([stated_s, 0.0, *([] if session_s is None else [session_s])]))


@dataclass(frozen=True)
class SongBars:
    """By which all mixes of a song are placed: its map (by its key; 0: none), and the bars where sections begin."""

    map_id: int
    starts: tuple[int, ...]


def song_bars(song: Song) -> SongBars:
    approved = song.maps.first()
    return SongBars(approved.pk if approved else 0, tuple(bar for bar, _ in named_sections(song)))


def fingerprint_of(mix: RoughMix, music: MusicCopy | None, bars: SongBars) -> str:
    said = (
        PLACED_BY,
        mix.sha256,
        str(mix.holds),
        str(mix.begins),
        music.key if music else "",
        bars.map_id,
        list(bars.starts),
    )
    return hashlib.sha256(repr(said).encode()).hexdigest()


def left_alone() -> list[int]:
    """Mixes of songs that are worked on, which nobody placed."""
    before = timezone.now() - LEFT_ALONE_FOR
    mixes = RoughMix.objects.filter(
        state__in=CAN_BE_PLACED,
        placed_by="",
        place_tries__lt=MOST_TRIES,
        received_at__lt=before,
        song__stage__in=STAGES_OF_MIXES,
    )
    return list(mixes.values_list("pk", flat=True))


def ask_for_places(song: Song, *, is_opened: bool) -> list[int]:
    """The mixes that are to be placed by what is known now; queued where a page is opened, not when it looks again."""
    waiting = out_of_date(song) if song.stage in STAGES_OF_MIXES else []
    for mix_id in waiting if is_opened else ():
        queue_task_on_commit("portal.takes.tasks.place_rough_mix", mix_id)
    return waiting


def out_of_date(song: Song) -> list[int]:
    """Mixes that were placed with another map, other music or another word than now."""
    music, bars = MusicCopy.objects.filter(song=song, state=MusicCopy.State.MADE).first(), song_bars(song)
    mixes = [mix for mix in song.rough_mixes.filter(state__in=CAN_BE_PLACED) if mix.place_tries < MOST_TRIES]
    return [
        mix.pk
        for mix in mixes
        if mix.placed_by != fingerprint_of(mix, music if mix.holds == RoughMix.Holds.MIX else None, bars)
    ]
