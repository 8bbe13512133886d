"""What has to be true of the machine before the house opens. `manage.py check --deploy` says all of it."""

import os
import shutil
from collections.abc import Iterable
from pathlib import Path
from typing import Any

from django.conf import settings
from django.core import checks
from django.core.checks import CheckMessage, Error, Tags, register
from django.utils.encoding import filepath_to_uri

from analysis.sandbox import LAYERS, layers_that_hold

SMALLEST_FREE_BYTES = 1024**3


def folders() -> Iterable[Path]:
    yield settings.DATA_DIR
    yield settings.UPLOAD_DIR
    if not settings.S3_BUCKET:
        yield Path(settings.STORAGES["default"]["OPTIONS"]["location"])


@register(Tags.files)
def check_folders(**_: Any) -> list[CheckMessage]:
    """Every folder that we write to can be made and written to by this user."""
    troubles = ((folder, folder_trouble(folder)) for folder in folders())
    return [
        Error(
            f"The folder {folder} {trouble}.",
            hint="Set KITPOST_DATA_DIR to a folder that this user can write to.",
            id="portal.E001",
        )
        for folder, trouble in troubles
        if trouble
    ]


def folder_trouble(folder: Path) -> str | None:
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        return f"cannot be made: {error.strerror}"
    return None if os.access(folder, os.W_OK | os.X_OK) else "cannot be written to"


@register(Tags.files)
def check_room(**_: Any) -> list[CheckMessage]:
    """A full disk refuses uploads one by one; say so before the first."""
    existing = next(path for path in (settings.DATA_DIR, *settings.DATA_DIR.parents) if path.exists())
    free_bytes = shutil.disk_usage(existing).free
    if free_bytes >= SMALLEST_FREE_BYTES + settings.UPLOAD_DISK_RESERVE_BYTES:
        return []
    return [checks.Warning(f"The disk of {settings.DATA_DIR} has only {free_bytes:,} bytes left.", id="portal.W001")]


@register(Tags.files)
def check_sending(**_: Any) -> list[CheckMessage]:
    """The front server takes the address by its first and last stroke."""
    prefix = settings.ACCEL_PREFIX
    if prefix and (not prefix.startswith("/") or not prefix.endswith("/") or filepath_to_uri(prefix) != prefix):
        return [Error(f"KITPOST_ACCEL_PREFIX is {prefix!r}; the format is /store/.", id="portal.E002")]
    return []


# What a decoder that was taken over could do where a layer is missing.
OPEN_WITHOUT = {
    "landlock": "it could read and change every file that this user can",
    "seccomp": "it could start processes and programs, and reach services over sockets in the file system",
    "namespaces": "the other layers have to hold the network and other processes by themselves",
    "capabilities": "it would keep what root may do",
}


@register(Tags.security)
def check_layers(**_: Any) -> list[CheckMessage]:
    """Sound files are decoded in a process that is closed in: say what this kernel does not offer for it."""
    held = layers_that_hold()
    return [
        (checks.Info if layer == "namespaces" else checks.Warning)(
            f"Sound files are opened without {layer}: {OPEN_WITHOUT[layer]}.",
            hint=f"What holds here: {', '.join(held) or 'limits on memory, time and output alone'}.",
            id=f"portal.{'I' if layer == 'namespaces' else 'W'}004",
        )
        for layer in LAYERS
        if layer not in held
    ]


@register(Tags.security, deploy=True)
def check_mail(**_: Any) -> list[CheckMessage]:
    if settings.EMAIL_BACKEND.endswith("filebased.EmailBackend"):
        return [checks.Warning("E-mails are saved to a folder: set KITPOST_MAIL_URL to send them.", id="portal.W002")]
    return []


@register(Tags.staticfiles, deploy=True)
def check_static(**_: Any) -> list[CheckMessage]:
    if settings.STATIC_ROOT and not (Path(settings.STATIC_ROOT) / "staticfiles.json").exists():
        return [checks.Warning("Static files are not collected: run manage.py collectstatic.", id="portal.W003")]
    return []
