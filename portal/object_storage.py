"""The store in an S3 bucket. One that says nothing is given up soon: the sender is told, and tries again."""

from typing import Any

from botocore.config import Config
from storages.backends.s3 import S3Storage

# A request that takes a part of an upload is one thread of the web server's: it must not wait for minutes.
CONNECT_TIMEOUT_S = 10
READ_TIMEOUT_S = 60
TRIES = 3


class ObjectStorage(S3Storage):  # type: ignore[misc]  # published without types
    """Nothing in it has a public address, nothing is written over, every request is signed."""

    def __init__(self, **options: Any) -> None:
        config = Config(
            s3={"addressing_style": "path"},
            signature_version="s3v4",
            connect_timeout=CONNECT_TIMEOUT_S,
            read_timeout=READ_TIMEOUT_S,
            retries={"total_max_attempts": TRIES, "mode": "standard"},
        )
        super().__init__(client_config=config, file_overwrite=False, querystring_expire=600, **options)
