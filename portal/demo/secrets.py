"""Secrets of a demo house: made on its first run, kept in its data folder, readable by its owner alone."""

import os
import secrets
from pathlib import Path

KEY_BYTES = 48
OWNER_READS_AND_WRITES = 0o600


def house_secret(data_dir: Path, name: str = "secret-key") -> str:
    """Return the secret that the folder keeps under `name`, made now if there is none."""
    file = data_dir / name
    data_dir.mkdir(parents=True, exist_ok=True)
    # Written beside, then linked into place: two processes that start at once agree on the first one's secret.
    draft = data_dir / f".{name}.{os.getpid()}"
    if not file.exists():
        descriptor = os.open(draft, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, OWNER_READS_AND_WRITES)
        with os.fdopen(descriptor, "w", encoding="utf-8") as handle:
            handle.write(secrets.token_urlsafe(KEY_BYTES))
            handle.flush()
            os.fsync(handle.fileno())
        try:
            os.link(draft, file)
        except FileExistsError:
            pass
        finally:
            draft.unlink()
    return file.read_text(encoding="utf-8")
