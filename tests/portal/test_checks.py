from pathlib import Path

import pytest
from django.core.checks import CheckMessage
from pytest_django import Settings

from analysis.sandbox import LAYERS
from portal import checks


def ids(messages: list[CheckMessage]) -> list[str | None]:
    return [message.id for message in messages]


def test_folders_are_made_where_they_are_missing(settings: Settings, tmp_path: Path) -> None:
    settings.DATA_DIR = tmp_path / "deep" / "house"

    assert checks.check_folders() == []
    assert settings.DATA_DIR.is_dir()


def test_a_file_in_a_folders_place_is_an_error(settings: Settings, tmp_path: Path) -> None:
    settings.UPLOAD_DIR = tmp_path / "uploads"
    settings.UPLOAD_DIR.write_text("not a folder")

    [error] = checks.check_folders()

    assert error.id == "portal.E001"
    assert error.msg == f"The folder {settings.UPLOAD_DIR} cannot be made: File exists."


def test_a_folder_of_somebody_else_is_an_error(settings: Settings, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("portal.checks.os.access", lambda folder, _: folder != settings.UPLOAD_DIR)

    assert [error.msg for error in checks.check_folders()] == [
        f"The folder {settings.UPLOAD_DIR} cannot be written to."
    ]


def test_an_object_store_needs_no_folder(settings: Settings) -> None:
    settings.S3_BUCKET = "kitpost"

    assert set(checks.folders()) == {settings.DATA_DIR, settings.UPLOAD_DIR}


def test_a_disk_that_is_nearly_full_is_said_beforehand(settings: Settings) -> None:
    assert checks.check_room() == []

    settings.UPLOAD_DISK_RESERVE_BYTES = 1024**6

    assert ids(checks.check_room()) == ["portal.W001"]


@pytest.mark.parametrize(
    ("prefix", "expected"),
    [("", []), ("/store/", []), ("store/", ["portal.E002"]), ("/store", ["portal.E002"]), ("/a b/", ["portal.E002"])],
)
def test_the_front_servers_address_has_one_form(settings: Settings, prefix: str, expected: list[str]) -> None:
    settings.ACCEL_PREFIX = prefix

    assert ids(checks.check_sending()) == expected


def test_mail_into_a_folder_is_not_for_real(settings: Settings) -> None:
    settings.EMAIL_BACKEND = "django.core.mail.backends.filebased.EmailBackend"
    assert ids(checks.check_mail()) == ["portal.W002"]

    settings.EMAIL_BACKEND = "django.core.mail.backends.smtp.EmailBackend"
    assert checks.check_mail() == []


def test_pages_need_their_files_collected(settings: Settings, tmp_path: Path) -> None:
    settings.STATIC_ROOT = tmp_path
    assert ids(checks.check_static()) == ["portal.W003"]

    (tmp_path / "staticfiles.json").touch()
    assert checks.check_static() == []


def test_what_the_kernel_does_not_offer_is_said(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(checks, "layers_that_hold", lambda: LAYERS)
    assert checks.check_layers() == []

    monkeypatch.setattr(checks, "layers_that_hold", lambda: ("seccomp", "capabilities"))
    namespaces, landlock = checks.check_layers()

    assert (namespaces.id, landlock.id) == ("portal.I004", "portal.W004")
    assert landlock.msg == (
        "Sound files are opened without landlock: it could read and change every file that this user can."
    )
    assert landlock.hint == "What holds here: seccomp, capabilities."
