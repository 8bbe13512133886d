"""What a store's faults are called here, whichever store it is."""

from __future__ import annotations

import contextlib
import errno
from collections.abc import Iterator

from botocore.exceptions import BotoCoreError, ClientError

from portal.uploads.errors import DiskFullError, StoreDownError

FULL = frozenset({errno.ENOSPC, errno.EDQUOT})
KEPT = "What came so far is kept, and it goes on by itself."


@contextlib.contextmanager
def faults_told() -> Iterator[None]:
    """A store that is full, or does not answer, is a fault that passes: the sender tries again."""
    try:
        yield
    except (BotoCoreError, ClientError) as error:
        raise StoreDownError(f"The store does not take the file at the moment. {KEPT}") from error
    except OSError as error:
        if error.errno in FULL:
            raise DiskFullError(f"The server's disk is full. {KEPT}") from error
        raise StoreDownError(f"The disk does not take the file at the moment. {KEPT}") from error
