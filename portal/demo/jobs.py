"""The demo's client sends a song: played by the house's own small band, received like every other upload."""

import tempfile
from collections.abc import Iterator
from functools import partial
from pathlib import Path

from portal.bookings.models import Song
from portal.intake.files.announcing import say_all_sent
from portal.uploads import services as uploads

# A short version, so that a desk with something on it is not a long wait.
SHORT_FORM = (("intro", 4), ("verse", 8), ("chorus", 8), ("outro", 4))
PIECE_BYTES = 1024 * 1024


def send_stems(song: Song, slug: str) -> None:
    from analysis.band import SONG_BY_SLUG, render_song

    arrived = set(song.sources.values_list("name", flat=True))
    with tempfile.TemporaryDirectory(prefix="kitpost-band-") as folder:
        for path in render_song(SONG_BY_SLUG[slug], Path(folder), form=SHORT_FORM).paths:
            if path.name not in arrived:
                send(path, song=song)
    say_all_sent(song=song, by=song.booking.members.all()[0].user)


def send(path: Path, *, song: Song) -> None:
    client = song.booking.members.all()[0].user
    upload = uploads.create(
        user=client, purpose="source", target_id=song.pk, file_name=path.name, length_bytes=path.stat().st_size
    )
    uploads.append(upload=upload, at_offset=0, pieces=partial(pieces, path))


def pieces(path: Path, at_most: int) -> Iterator[bytes]:
    with path.open("rb") as file:
        while at_most > 0 and (piece := file.read(min(PIECE_BYTES, at_most))):
            at_most -= len(piece)
            yield piece
