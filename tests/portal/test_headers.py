import re

import pytest
from django.http import HttpRequest, HttpResponse
from django.template.loader import render_to_string
from django.test import Client, RequestFactory
from pytest_django import Settings

from portal.headers import ContentSecurityPolicyMiddleware, NoStoreMiddleware
from tests.factories import make_client


def policy_of(request: HttpRequest) -> dict[str, str]:
    response = ContentSecurityPolicyMiddleware(lambda _: HttpResponse())(request)
    parts = (part.strip().split(" ", 1) for part in response.headers["Content-Security-Policy"].split(";"))
    return dict(parts)


def test_scripts_run_only_from_our_files_or_with_this_answers_nonce(rf: RequestFactory) -> None:
    request = rf.get("/")

    assert policy_of(request)["script-src"] == f"'self' 'nonce-{request.csp_nonce}'"  # type: ignore[attr-defined]


def test_no_two_answers_share_a_nonce(rf: RequestFactory) -> None:
    first, second = policy_of(rf.get("/")), policy_of(rf.get("/"))

    assert first["script-src"] != second["script-src"]
    assert re.fullmatch(r"'self' 'nonce-[\w-]{22}'", first["script-src"])


def test_sound_may_come_from_the_object_store_that_the_house_uses(rf: RequestFactory, settings: Settings) -> None:
    settings.S3_ENDPOINT_URL = "https://store.example:9000"

    assert policy_of(rf.get("/"))["media-src"].split() == ["'self'", "blob:", "https://store.example:9000"]


def test_a_store_behind_the_front_server_is_no_browsers_business(rf: RequestFactory, settings: Settings) -> None:
    settings.S3_ENDPOINT_URL, settings.ACCEL_PREFIX = "http://store:9000", "/objects/"

    assert policy_of(rf.get("/"))["media-src"].split() == ["'self'", "blob:"]


@pytest.mark.django_db
def test_pages_are_kept_by_nobody(client: Client) -> None:
    assert client.get("/sign-in/").headers["Cache-Control"].find("no-store") >= 0
    client.force_login(make_client())
    for address in ("/", "/me/", "/nothing-here/"):
        assert client.get(address).headers["Cache-Control"] == "no-store", address


def test_who_says_how_long_an_answer_may_be_kept_is_left_alone(rf: RequestFactory) -> None:
    answer = HttpResponse(headers={"Cache-Control": "private, max-age=60"})
    assert NoStoreMiddleware(lambda _: answer)(rf.get("/")).headers["Cache-Control"] == "private, max-age=60"


def test_the_page_of_a_server_error_has_no_script_that_the_policy_refuses() -> None:
    page = render_to_string("500.html")
    assert "Something went wrong" in page
    assert "<script" not in page
