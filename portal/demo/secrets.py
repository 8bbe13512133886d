"""Secrets of a demo house: made on its first run, kept in its data folder, readable by its owner alone."""

import os
import secrets
from contextlib import suppress
from pathlib import Path

KEY_BYTES = 48
OWNER_ONLY = 0o700
OWNER_READS_AND_WRITES = 0o600


def house_secret(data_dir: Path, name: str = "signing-key", *, random_bytes: int = KEY_BYTES) -> str:
    """Return the secret that the folder keeps under `name`, made now if there is none."""
    folder = data_dir / "secrets"
    file = folder / name
    if not file.exists():
        folder.mkdir(mode=OWNER_ONLY, parents=True, exist_ok=True)
        # Written beside, then linked into place: processes that start at once agree on the first one's secret.
        draft = folder / f".{name}.{os.getpid()}"
        descriptor = os.open(draft, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, OWNER_READS_AND_WRITES)
        with os.fdopen(descriptor, "w", encoding="utf-8") as handle:
            handle.write(secrets.token_urlsafe(random_bytes))
            handle.flush()
            os.fsync(handle.fileno())
        with suppress(FileExistsError):
            os.link(draft, file)
        draft.unlink()
    return file.read_text(encoding="utf-8")
