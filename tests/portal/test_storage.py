from pathlib import Path

import pytest
from django.core.files.base import ContentFile

from portal.storage import FolderStorage


def test_keeps_what_it_is_given(tmp_path: Path) -> None:
    store = FolderStorage(location=str(tmp_path / "store"))

    name = store.save("originals/ab/abcd", ContentFile(b"take one"))

    assert name == "originals/ab/abcd"
    assert (tmp_path / "store" / name).read_bytes() == b"take one"


def test_never_writes_over_what_is_there(tmp_path: Path) -> None:
    store = FolderStorage(location=str(tmp_path))
    first = store.save("mix.wav", ContentFile(b"take one"))

    second = store.save("mix.wav", ContentFile(b"take two"))

    assert second != first
    assert (tmp_path / first).read_bytes() == b"take one"


def test_syncs_the_file_and_every_folder_up_to_the_store(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    synced: list[Path] = []
    monkeypatch.setattr("portal.storage.sync", synced.append)

    FolderStorage(location=str(tmp_path)).save("a/b/c", ContentFile(b"x"))

    assert synced == [tmp_path / "a/b/c", tmp_path / "a/b", tmp_path / "a", tmp_path]


def test_has_no_public_addresses(tmp_path: Path) -> None:
    with pytest.raises(ValueError, match="no public address"):
        FolderStorage(location=str(tmp_path)).url("mix.wav")


def test_what_is_stored_is_read_only(tmp_path: Path) -> None:
    store = FolderStorage(location=str(tmp_path))

    assert (tmp_path / store.save("a/b", ContentFile(b"x"))).stat().st_mode & 0o777 == 0o444
    store.delete("a/b")
    assert not store.exists("a/b")
