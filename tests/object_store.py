"""A real S3 server for a test, with signatures on, from the environment that `make s3-server` makes."""

import hashlib
import os
import socket
import subprocess
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest

from portal.demo.processes import BASE_DIR

PYTHON = BASE_DIR / ".venv-s3" / "bin" / "python"
NO_SERVER = "no S3 server on this machine: `make s3-server` installs one"
ACCESS_KEY, SECRET_KEY, BUCKET = "house:kitpost", "only-in-tests", "kitpost"
PATIENCE_S = 30


@dataclass(frozen=True)
class ObjectStore:
    url: str
    process: subprocess.Popen[bytes]

    @property
    def client(self) -> Any:
        import boto3
        from botocore.config import Config

        config = Config(signature_version="s3v4", s3={"addressing_style": "path"})
        keys = {"aws_access_key_id": ACCESS_KEY, "aws_secret_access_key": SECRET_KEY}
        return boto3.client("s3", endpoint_url=self.url, region_name="us-east-1", config=config, **keys)

    def sha256_of(self, key: str) -> str:
        seen = hashlib.sha256()
        for piece in self.client.get_object(Bucket=BUCKET, Key=key)["Body"].iter_chunks(1024**2):
            seen.update(piece)
        return seen.hexdigest()

    @property
    def settings(self) -> dict[str, str]:
        return {
            "KITPOST_S3_BUCKET": BUCKET,
            "KITPOST_S3_ENDPOINT_URL": self.url,
            "KITPOST_S3_ACCESS_KEY": ACCESS_KEY,
            "KITPOST_S3_SECRET_KEY": SECRET_KEY,
        }

    def use(self, settings: Any) -> None:
        """For a test: the house stores here from now on."""
        settings.S3_BUCKET = BUCKET
        keys = {"access_key": ACCESS_KEY, "secret_key": SECRET_KEY}
        options = settings.S3_STORE["OPTIONS"] | {"bucket_name": BUCKET, "endpoint_url": self.url} | keys
        default = {"BACKEND": settings.S3_STORE["BACKEND"], "OPTIONS": options}
        settings.STORAGES = {**settings.STORAGES, "default": default}


def need_object_store() -> None:
    if not PYTHON.exists():
        if os.environ.get("CI") == "true":
            pytest.fail(NO_SERVER)
        pytest.skip(NO_SERVER)


@contextmanager
def serving(folder: Path) -> Iterator[ObjectStore]:
    """A server that answers, with an empty bucket."""
    need_object_store()
    with socket.create_server(("127.0.0.1", 0)) as door:
        port = door.getsockname()[1]
    command = [str(PYTHON), str(BASE_DIR / "tests" / "s3_server.py"), str(folder), str(port), ACCESS_KEY, SECRET_KEY]
    process = subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    store = ObjectStore(f"http://127.0.0.1:{port}", process)
    try:
        wait_for(port, process)
        store.client.create_bucket(Bucket=BUCKET)
        yield store
    finally:
        process.kill()
        process.wait()


def wait_for(port: int, process: subprocess.Popen[bytes]) -> None:
    give_up_at = time.monotonic() + PATIENCE_S
    while True:
        assert process.poll() is None, "the S3 server did not start"
        try:
            socket.create_connection(("127.0.0.1", port), timeout=1).close()
            return
        except OSError:
            assert time.monotonic() < give_up_at
            time.sleep(0.05)
