"""Which of a song's files are the music that a take is laid over, and making their sum."""

from __future__ import annotations

import hashlib
import logging
import re
from collections import Counter
from contextlib import ExitStack
from pathlib import Path

from django.core.files.storage import default_storage
from django.db import transaction

from analysis.core import WITHOUT
from analysis.sandbox import write_mixdown_in_child
from portal.bookings.models import Song
from portal.file_serving import local_copy
from portal.intake.models import SourceFile
from portal.job_folders import job_folder
from portal.kit.roles import role_of
from portal.making import left_alone, make_once
from portal.queueing import queue_task_on_commit
from portal.takes.models import MusicCopy
from portal.uploads import originals

STOPPED = "could not be read to the end"
# Raised when the same files come to give another sum.
MADE_BY = "1"
DRUMS = re.compile(r"drum", re.IGNORECASE)
LEAST_STEMS = 2
HIGHEST_RATE_HZ = 48_000

logger = logging.getLogger(__name__)


def music_files(song: Song) -> list[SourceFile]:
    """A mix without drums where the client sent one; else every stem but clicks and drums; else their mix."""
    check = song.checks.done().first()
    clicks = check.click_names if check else set()
    heard = [one for one in song.sources.current().filter(gone_at=None) if one.features_key and one.name not in clicks]
    roles = {one.pk: role_of(one.name, one.numbers, is_click=False) for one in heard}
    drumless = [one for one in heard if (said := WITHOUT.search(_spaced(one.name))) and DRUMS.search(said[0])]
    stems = [one for one in heard if roles[one.pk] not in ("click", "drums", "mix")]
    mixes = [one for one in heard if roles[one.pk] == "mix"]
    if drumless:
        return drumless[:1]
    return stems if len(stems) >= LEAST_STEMS or not mixes else mixes[:1]


def _spaced(name: str) -> str:
    return re.sub(r"[^a-z]+", " ", name.lower())


@transaction.atomic
def ask_for_music(song: Song) -> MusicCopy | None:
    """The sum of what the song holds now: begun where it is not made. None for a song without music."""
    files = music_files(song)
    if not files:
        return None
    fingerprint = fingerprint_of(files)
    song = Song.objects.select_for_update().get(pk=song.pk)
    copy, is_new = MusicCopy.objects.get_or_create(
        song=song, defaults={"fingerprint": fingerprint, "names": [one.name for one in files]}
    )
    if copy.fingerprint != fingerprint:
        copy.start_anew(fingerprint=fingerprint, names=[one.name for one in files])
        is_new = True
    if is_new:
        queue_task_on_commit("portal.takes.tasks.make_music", copy.pk)
    return copy


def fingerprint_of(files: list[SourceFile]) -> str:
    return hashlib.sha256(repr((MADE_BY, [one.sha256 for one in files])).encode()).hexdigest()


def make_music(copy_id: int) -> None:
    make_once(MusicCopy.objects.select_related("song"), copy_id, _make, stopped=STOPPED)


def _make(copy: MusicCopy) -> None:
    """Of files that changed meanwhile nothing is kept: it is asked for anew."""
    files = music_files(copy.song)
    if not files or fingerprint_of(files) != copy.fingerprint:
        copy.fail("changed while the music was made")
        return
    rate_hz = rate_of(files)
    with job_folder() as folder, ExitStack() as lent:
        to = Path(folder, "music.flac")
        paths = [lent.enter_context(local_copy(one.key)) for one in files]
        made = write_mixdown_in_child(paths, to, sample_rate_hz=rate_hz)
        if isinstance(made, str):
            copy.fail(made)
            return
        sha256 = originals.hash_part(to)
        key = f"music/{sha256[:2]}/{sha256}.flac"
        originals.store(to, key=key, sha256=sha256)
    _put_in_place(copy, key)
    copy.finish(key=key, sample_rate_hz=made.sample_rate_hz, frames=made.frames, loudness_lufs=made.loudness_lufs)
    logger.info("music copy %s: made of %s files", copy.pk, len(files))


def rate_of(files: list[SourceFile]) -> int:
    """The rate that most files have, so that few are converted; no higher than is heard and sent."""
    rates = Counter(one.numbers.sample_rate_hz or HIGHEST_RATE_HZ for one in files if one.numbers)
    return min(rates.most_common(1)[0][0], HIGHEST_RATE_HZ)


def _put_in_place(copy: MusicCopy, key: str) -> None:
    """The sum of earlier files goes."""
    if copy.key and copy.key != key and not MusicCopy.objects.filter(key=copy.key).exclude(pk=copy.pk).exists():
        default_storage.delete(copy.key)


def music_left_alone() -> list[int]:
    return left_alone(MusicCopy.objects.all())


def clear_gone() -> None:
    """What was made of originals goes when the last of them is cleared away."""
    kept = SourceFile.objects.filter(gone_at=None).values("song")
    for copy in MusicCopy.objects.exclude(song__in=kept):
        key, _ = copy.key, copy.delete()
        if key and not MusicCopy.objects.filter(key=key).exists():
            default_storage.delete(key)
