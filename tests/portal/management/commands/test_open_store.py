from collections.abc import Iterator

import pytest
from botocore.stub import Stubber
from django.core.files.storage import default_storage
from django.core.management import CommandError, call_command
from storages.backends.s3 import S3Storage


@pytest.fixture
def answers(monkeypatch: pytest.MonkeyPatch) -> Iterator[Stubber]:
    """What the object store says to each request, in order; a request that was not foreseen fails."""
    store = S3Storage(bucket_name="kitpost", endpoint_url="http://store:9000", access_key="a", secret_key="b")
    monkeypatch.setattr(default_storage, "_wrapped", store)
    with Stubber(store.connection.meta.client) as answers:
        yield answers
        answers.assert_no_pending_responses()


def test_a_bucket_that_is_there_is_left_alone(answers: Stubber) -> None:
    answers.add_response("head_bucket", {}, {"Bucket": "kitpost"})

    call_command("open_store")


def test_a_missing_bucket_is_made(answers: Stubber) -> None:
    answers.add_client_error("head_bucket", service_error_code="404", http_status_code=404)
    answers.add_response("create_bucket", {}, {"Bucket": "kitpost"})

    call_command("open_store")


def test_a_store_that_knows_us_not_is_said_clearly(answers: Stubber) -> None:
    answers.add_client_error("head_bucket", service_error_code="403", http_status_code=403)

    with pytest.raises(CommandError, match="The store refuses the bucket kitpost"):
        call_command("open_store")


def test_a_folder_needs_nothing() -> None:
    call_command("open_store")
