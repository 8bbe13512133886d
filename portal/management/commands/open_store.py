"""Makes the store ready: the bucket of an S3 store, if nobody has made it yet. A folder makes itself."""

from typing import Any

from botocore.exceptions import ClientError
from django.core.files.storage import default_storage
from django.core.management.base import BaseCommand, CommandError
from storages.backends.s3 import S3Storage

NOT_FOUND = 404


class Command(BaseCommand):
    help = "Make the S3 store's bucket, if there is none."

    def handle(self, *_: Any, **__: Any) -> None:
        store: Any = default_storage
        if not isinstance(store, S3Storage):
            return
        client = store.connection.meta.client
        try:
            client.head_bucket(Bucket=store.bucket_name)
        except ClientError as error:
            if error.response["ResponseMetadata"]["HTTPStatusCode"] != NOT_FOUND:
                raise CommandError(f"The store refuses the bucket {store.bucket_name}: {error}") from error
            client.create_bucket(Bucket=store.bucket_name)
