from __future__ import annotations

import hashlib
import uuid
from collections.abc import Iterable
from pathlib import Path

import pytest

from portal.uploads import stretch_hashes
from portal.uploads.errors import SpoiltError

STRETCHES = [b"0123456789", b"abc", b"A" * 100]
WHOLE = b"".join(STRETCHES)


@pytest.fixture
def upload_id(tmp_path: Path) -> uuid.UUID:
    (tmp_path / "uploads").mkdir()
    upload_id, end = uuid.uuid4(), 0
    stretch_hashes.reserve(upload_id)
    for stretch in STRETCHES:
        end += len(stretch)
        stretch_hashes.add(upload_id, end=end, sha256=hashlib.sha256(stretch).hexdigest())
    return upload_id


def compared(upload_id: uuid.UUID, pieces: Iterable[bytes]) -> bytes:
    return b"".join(stretch_hashes.compared(upload_id, pieces))


@pytest.mark.parametrize("length", [1, 4, 10, 13, 1_000])
def test_what_came_passes_in_pieces_of_any_length(upload_id: uuid.UUID, length: int) -> None:
    assert compared(upload_id, [WHOLE[at : at + length] for at in range(0, len(WHOLE), length)]) == WHOLE


@pytest.mark.parametrize("at", [0, 9, 10, 12, 13, len(WHOLE) - 1])
def test_one_other_byte_anywhere_is_noticed(upload_id: uuid.UUID, at: int) -> None:
    with pytest.raises(SpoiltError, match="does not match"):
        compared(upload_id, [WHOLE[:at] + b"?" + WHOLE[at + 1 :]])


def test_less_and_more_are_noticed(upload_id: uuid.UUID) -> None:
    with pytest.raises(SpoiltError, match="Less"):
        compared(upload_id, [WHOLE[:-1]])
    with pytest.raises(SpoiltError, match="Less"):
        compared(upload_id, [])
    with pytest.raises(SpoiltError, match="More"):
        compared(upload_id, [WHOLE + b"!"])


def test_nothing_that_came_is_nothing_to_compare(upload_id: uuid.UUID) -> None:
    assert compared(uuid.uuid4(), []) == b""


@pytest.mark.parametrize(("offset", "reaches"), [(113, 113), (500, 113), (112, 13), (13, 13), (12, 10), (9, 0)])
def test_it_is_cut_at_the_end_of_a_whole_stretch(upload_id: uuid.UUID, offset: int, reaches: int) -> None:
    assert stretch_hashes.cut_to(upload_id, offset) == reaches
    assert compared(upload_id, [WHOLE[:reaches]]) == WHOLE[:reaches]


def test_a_line_that_a_power_cut_left_unfinished_counts_for_nothing(upload_id: uuid.UUID) -> None:
    path = stretch_hashes.path_of(upload_id)
    path.write_text(path.read_text().rstrip()[:-10] + "\n\n")

    assert stretch_hashes.cut_to(upload_id, 113) == 13


def test_the_room_for_it_is_taken_before_it_is_needed(upload_id: uuid.UUID) -> None:
    before = stretch_hashes.path_of(upload_id).stat().st_size
    for end in range(200, 240):
        stretch_hashes.add(upload_id, end=end, sha256="0" * 64)

    assert stretch_hashes.path_of(upload_id).stat().st_size == before == stretch_hashes.BLOCK_BYTES
    for end in range(240, 300):
        stretch_hashes.add(upload_id, end=end, sha256="0" * 64)
    assert [end for end, _ in stretch_hashes.read(upload_id)] == [10, 13, 113, *range(200, 300)]
