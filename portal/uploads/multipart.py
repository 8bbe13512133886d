"""An upload's bytes on their way into an S3 store: each part waits in a file here until it is full, then goes out.

Which parts the store has is its own knowledge, asked for at the end; which are still to go is what lies in the upload
folder. So no process has to remember anything, and one that is killed between two steps leaves them to the next.
The whole lies first under the upload's number. Read back and compared, it is copied inside the store to its content's
key, which is not known before the last byte has come.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator
from functools import cached_property
from io import FileIO
from pathlib import Path
from typing import IO, Any, cast

from botocore.exceptions import ClientError
from django.conf import settings
from django.core.files.storage import default_storage

from portal.uploads.errors import SpoiltError, StoreError
from portal.uploads.models import Upload

# S3 takes parts of 5 MiB to 5 GiB, the last one may be smaller, and no more than 10,000 of them.
PART_BYTES = 8 * 1024**2
MOST_PARTS = 10_000
READ_BYTES = 1024**2
ARRIVING = "arriving/"
# One request copies up to 5 GiB; what is larger goes in pieces.
COPYING = {"multipart_threshold": 4 * 1024**3, "multipart_chunksize": 1024**3}
LOST = "The store lost a part of this file. Please send it again."
GONE = frozenset({"NoSuchUpload", "NoSuchKey", "404"})


def client() -> Any:
    return cast(Any, default_storage).connection.meta.client


def part_bytes(length_bytes: int) -> int:
    """The size of all parts but the last: the least that keeps a file of this length within the number of parts."""
    return max(PART_BYTES, -(-length_bytes // MOST_PARTS))


def is_gone(error: ClientError) -> bool:
    return error.response.get("Error", {}).get("Code") in GONE


class MultipartPart:
    file: FileIO  # between open_at and close

    def __init__(self, upload: Upload) -> None:
        self.upload = upload
        self.size = part_bytes(upload.length_bytes)
        self.named = {"Bucket": settings.S3_BUCKET, "Key": f"{ARRIVING}{upload.pk}"}
        self.index = 0

    @cached_property
    def s3(self) -> Any:
        return client()

    def spool(self, index: int) -> Path:
        return Path(settings.UPLOAD_DIR) / f"{self.upload.pk}.{index}.spool"

    def spools(self) -> dict[int, Path]:
        """What waits here, by the number of the part."""
        found = Path(settings.UPLOAD_DIR).glob(f"{self.upload.pk}.*.spool")
        return {int(path.name.split(".")[1]): path for path in sorted(found)}

    def reach(self, offset: int) -> int:
        spool = self.spools().get(offset // self.size)
        return offset if (spool.stat().st_size if spool else 0) >= offset % self.size else 0

    def fall_back_to(self, offset: int) -> int:  # noqa: ARG002
        """Parts that went out cannot be added to any more: without the one that waited here, all begins again."""
        self.remove()
        self.upload.note_multipart("")
        return 0

    def open_at(self, offset: int) -> None:
        self.turn_to(offset // self.size)
        self.file.truncate(offset % self.size)
        self.file.seek(offset % self.size)
        for index, path in self.spools().items():
            if index > self.index:
                path.unlink()

    def turn_to(self, index: int) -> None:
        self.close()
        self.file = FileIO(os.open(self.spool(index), os.O_RDWR | os.O_CREAT, 0o600), "r+")
        self.index = index

    def write(self, piece: memoryview) -> int:
        if self.file.tell() == self.size:
            self.sync()
            self.turn_to(self.index + 1)
        return self.file.write(piece[: self.size - self.file.tell()])

    def sync(self) -> None:
        os.fsync(self.file.fileno())

    def settle(self, offset: int) -> None:
        """Send out the parts that are full. A part may go twice: the store keeps the later one under its number."""
        self.send_out(index for index in self.spools() if index < offset // self.size)

    def send_out(self, indexes: Iterator[int]) -> None:
        for index in indexes:
            if not self.upload.multipart_id:
                self.upload.note_multipart(self.s3.create_multipart_upload(**self.named)["UploadId"])
            with self.spool(index).open("rb") as body:
                self.send_part(index + 1, body)
            self.spool(index).unlink()

    def send_part(self, number: int, body: IO[bytes]) -> None:
        try:
            self.s3.upload_part(**self.named, UploadId=self.upload.multipart_id, PartNumber=number, Body=body)
        except ClientError as error:
            if is_gone(error):
                raise SpoiltError(LOST) from error
            raise

    def close(self) -> None:
        if "file" in vars(self):
            self.file.close()

    def pieces(self) -> Iterator[bytes]:
        self.complete()
        yield from self.s3.get_object(**self.named)["Body"].iter_chunks(READ_BYTES)

    def complete(self) -> None:
        """Have the store make one object of the parts, unless it has done so before."""
        if self.stored_bytes(self.named["Key"]) == self.upload.length_bytes:
            return
        self.send_out(index for index, path in self.spools().items() if path.stat().st_size)
        parts = self.stored_parts()
        if sum(part["Size"] for part in parts) != self.upload.length_bytes:
            raise SpoiltError(LOST)
        told = [{"PartNumber": part["PartNumber"], "ETag": part["ETag"]} for part in parts]
        self.s3.complete_multipart_upload(
            **self.named, UploadId=self.upload.multipart_id, MultipartUpload={"Parts": told}
        )

    def stored_parts(self) -> list[dict[str, Any]]:
        try:
            pages = self.s3.get_paginator("list_parts").paginate(**self.named, UploadId=self.upload.multipart_id)
            return [part for page in pages for part in page.get("Parts", [])]
        except ClientError as error:
            if is_gone(error):
                return []
            raise

    def stored_bytes(self, key: str) -> int | None:
        try:
            return int(self.s3.head_object(Bucket=settings.S3_BUCKET, Key=key)["ContentLength"])
        except ClientError as error:
            if is_gone(error):
                return None
            raise

    def place(self, *, key: str, sha256: str) -> None:  # noqa: ARG002
        """A copy inside the store, in parts beyond 5 GiB. It appears whole or not at all, so its length proves it."""
        from boto3.s3.transfer import TransferConfig

        if self.stored_bytes(key) != self.upload.length_bytes:
            self.s3.copy(self.named, settings.S3_BUCKET, key, Config=TransferConfig(**COPYING))
        if self.stored_bytes(key) != self.upload.length_bytes:
            raise StoreError("The stored data does not match what was sent.")

    def is_there(self) -> bool:
        return self.stored_bytes(self.named["Key"]) is not None or bool(self.stored_parts())

    def remove(self) -> None:
        for path in self.spools().values():
            path.unlink()
        if self.upload.multipart_id:
            end_multipart(self.named["Key"], self.upload.multipart_id)
            self.s3.delete_object(**self.named)


def end_multipart(key: str, multipart_id: str) -> None:
    try:
        client().abort_multipart_upload(Bucket=settings.S3_BUCKET, Key=key, UploadId=multipart_id)
    except ClientError as error:
        if not is_gone(error):
            raise


def remove_strays(still_open: Callable[[], set[str]]) -> None:
    """End at the store what belongs to no open upload: a process may be killed between the store and the row."""
    s3, named = client(), {"Bucket": settings.S3_BUCKET, "Prefix": ARRIVING}
    begun = [
        (str(upload["Key"]), str(upload["UploadId"]))
        for page in s3.get_paginator("list_multipart_uploads").paginate(**named)
        for upload in page.get("Uploads", [])
    ]
    whole = [
        str(stored["Key"])
        for page in s3.get_paginator("list_objects_v2").paginate(**named)
        for stored in page.get("Contents", [])
    ]
    are_open = still_open()
    for key, multipart_id in begun:
        if key.removeprefix(ARRIVING) not in are_open:
            end_multipart(key, multipart_id)
    for key in whole:
        if key.removeprefix(ARRIVING) not in are_open:
            s3.delete_object(Bucket=settings.S3_BUCKET, Key=key)
