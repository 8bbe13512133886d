"""Making what the client hears."""

from __future__ import annotations

import logging
from contextlib import ExitStack
from datetime import timedelta
from pathlib import Path

from django.core.files.storage import default_storage
from django.db import transaction
from django.utils import timezone

from analysis.maps import TempoMap, excerpt_start_s
from analysis.sandbox import write_excerpt_in_child
from portal.bookings.models import Song
from portal.bookings.services import note_song
from portal.bookings.stages import INTAKE_STAGES
from portal.file_serving import local_copy
from portal.intake.models import SourceFile
from portal.job_folders import job_folder
from portal.listening.models import Excerpt
from portal.mailroom import services as mailroom
from portal.uploads import originals

LEFT_ALONE_FOR = timedelta(minutes=2)
SAMPLE_RATE_HZ = 48_000

logger = logging.getLogger(__name__)


def make_excerpt(excerpt_id: int) -> None:
    """Make it and let the client know. Made twice at once, the first one counts."""
    excerpt = Excerpt.objects.select_related("song").get(pk=excerpt_id)
    if excerpt.state != Excerpt.State.MAKING:
        return
    with job_folder() as folder, ExitStack() as copies:
        to = Path(folder, "excerpt.flac")
        paths = [copies.enter_context(local_copy(source.key)) for source in sources_to_hear(excerpt.song)]
        trouble = write_excerpt_in_child(
            paths,
            to,
            map=excerpt.map,
            first_bar=excerpt.first_bar,
            bars=excerpt.bars,
            sample_rate_hz=SAMPLE_RATE_HZ,
        )
        key = "" if trouble else store(to)
    logger.info("excerpt %s: %s", excerpt_id, trouble or "made")
    let_out(excerpt_id, key=key, trouble=trouble or "")


def left_alone() -> list[int]:
    before = timezone.now() - LEFT_ALONE_FOR
    making = Excerpt.objects.filter(state=Excerpt.State.MAKING, asked_at__lt=before)
    return list(making.values_list("pk", flat=True))


def clear_gone() -> None:
    """What was cut from originals goes when the last of them is cleared away; the answer stays."""
    kept = SourceFile.objects.filter(gone_at=None).values("song")
    for excerpt in (
        Excerpt.objects.exclude(key="").exclude(song__in=kept).filter(song__sources__isnull=False).distinct()
    ):
        key = excerpt.key
        excerpt.lose_sound()
        if not Excerpt.objects.filter(key=key).exists():
            default_storage.delete(key)


def sources_to_hear(song: Song) -> list[SourceFile]:
    """One mix when the client sent one, else every stem; never their click, which would hide ours."""
    check = song.checks.done().first()
    clicks = check.click_names if check else set()
    heard = [source for source in song.sources.current() if source.features_key and source.name not in clicks]
    mixes = [source for source in heard if "mix" in source.name.lower()]
    return mixes[:1] or heard


def store(path: Path) -> str:
    sha256 = originals.hash_part(path)
    key = f"excerpts/{sha256[:2]}/{sha256}.flac"
    originals.store(path, key=key, sha256=sha256)
    return key


@transaction.atomic
def let_out(excerpt_id: int, *, key: str, trouble: str) -> None:
    # The song before its excerpt: who asks and who answers lock in this order too.
    song_id = Excerpt.objects.values_list("song_id", flat=True).get(pk=excerpt_id)
    song = Song.objects.select_for_update().select_related("booking").get(pk=song_id)
    excerpt = Excerpt.objects.select_for_update().select_related("asked_by").get(pk=excerpt_id)
    excerpt.song = song
    if excerpt.state != Excerpt.State.MAKING:
        return
    if song.booking.is_over or song.stage not in INTAKE_STAGES:
        excerpt.withdraw()
        return
    if trouble:
        excerpt.fail(trouble=f"The bars could not be played: a file {trouble}.")
        return
    starts_at_s = float(excerpt_start_s(TempoMap.from_json(excerpt.map), excerpt.first_bar))
    excerpt.go_out(key=key, starts_at_s=starts_at_s)
    ask(excerpt)


def ask(excerpt: Excerpt) -> None:
    song, by = excerpt.song, excerpt.asked_by
    text = f"asked for a listening check: bars {excerpt.first_bar} to {excerpt.last_bar} with the click"
    note_song(song, text=text, actor=by, listening_open=True)
    asks = (
        f"{by.name} asks you to listen to {excerpt.bars} bars of “{song.title}” with a click on top: is "
        "the tempo right, and is the high click where your bar begins? One tap is enough."
    )
    mailroom.write_to_members(
        booking=song.booking,
        by=by,
        key=f"excerpt:{excerpt.pk}",
        subject=f"Is this right? {excerpt.bars} bars of “{song.title}”",
        body=f"{asks}\n\n{excerpt.note}",
        path=excerpt.get_absolute_url(),
    )
