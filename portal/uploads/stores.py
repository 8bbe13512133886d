"""What a store's faults are called here, whichever store it is."""

from __future__ import annotations

import contextlib
import errno
from collections.abc import Iterator

from botocore.exceptions import BotoCoreError, ClientError

from portal.uploads.errors import DiskFullError, StoreDownError

FULL = frozenset({errno.ENOSPC, errno.EDQUOT})
KEPT = "What was sent is saved, and the upload resumes automatically."


@contextlib.contextmanager
def faults_told() -> Iterator[None]:
    """A store that is full, or does not answer, is a fault that passes: the sender tries again."""
    try:
        yield
    except (BotoCoreError, ClientError) as error:
        raise StoreDownError(f"The store cannot accept the file right now. {KEPT}") from error
    except OSError as error:
        if error.errno in FULL:
            raise DiskFullError(f"The server's disk is full. {KEPT}") from error
        raise StoreDownError(f"The disk cannot accept the file right now. {KEPT}") from error
