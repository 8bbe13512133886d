from pathlib import Path

from portal.demo.secrets import house_secret


def test_a_secret_is_made_once_and_kept(tmp_path: Path) -> None:
    assert house_secret(tmp_path) == house_secret(tmp_path)


def test_two_names_and_two_folders_have_different_secrets(tmp_path: Path) -> None:
    made = {house_secret(tmp_path / "a"), house_secret(tmp_path / "b"), house_secret(tmp_path / "a", "other")}

    assert len(made) == 3


def test_only_its_owner_may_read_it(tmp_path: Path) -> None:
    house_secret(tmp_path)

    assert (tmp_path / "secrets").stat().st_mode & 0o777 == 0o700
    assert (tmp_path / "secrets" / "signing-key").stat().st_mode & 0o777 == 0o600


def test_no_draft_is_left(tmp_path: Path) -> None:
    house_secret(tmp_path)

    assert [file.name for file in (tmp_path / "secrets").iterdir()] == ["signing-key"]
