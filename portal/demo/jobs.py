"""What the people of a demo send: played by the house's own small band, received like every other upload."""

from collections.abc import Iterator
from functools import partial
from pathlib import Path

from portal.bookings.models import Song
from portal.intake.files.announcing import say_all_sent
from portal.job_folders import job_folder
from portal.people.models import User
from portal.uploads import services as uploads

# A short version, so that a desk with something on it is not a long wait.
SHORT_FORM = (("intro", 4), ("verse", 8), ("chorus", 8), ("outro", 4))
PIECE_BYTES = 1024 * 1024


def send_stems(song: Song, slug: str) -> None:
    from analysis.band import SHORT_SONG_BY_SLUG, SONG_BY_SLUG, render_song

    client, arrived = client_of(song), set(song.sources.values_list("name", flat=True))
    short = SHORT_SONG_BY_SLUG.get(slug)
    with job_folder() as folder:
        played = render_song(short or SONG_BY_SLUG[slug], Path(folder), form=None if short else SHORT_FORM)
        for path in played.paths:
            if path.name not in arrived:
                send(path, purpose="source", target_id=song.pk, by=client)
    say_all_sent(song=song, by=client)


def client_of(song: Song) -> User:
    return song.booking.members.all()[0].user


def send(path: Path, *, purpose: str, target_id: int, by: User) -> None:
    upload = uploads.create(
        user=by, purpose=purpose, target_id=target_id, file_name=path.name, length_bytes=path.stat().st_size
    )
    uploads.append(upload=upload, at_offset=0, pieces=partial(pieces, path))


def pieces(path: Path, at_most: int) -> Iterator[bytes]:
    with path.open("rb") as file:
        while at_most > 0 and (piece := file.read(min(PIECE_BYTES, at_most))):
            at_most -= len(piece)
            yield piece
