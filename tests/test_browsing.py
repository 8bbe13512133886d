"""A window of the tests' browser begins empty, whatever was done in the one before."""

from __future__ import annotations

import pytest
from django.test import Client
from pytest_django.live_server_helper import LiveServer

from tests.browsing import Profile, sign_in
from tests.factories import make_drummer
from tests.requests_under_way import RequestsUnderWay

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


def test_of_the_window_before_nothing_is_left_but_static_files(
    live_server: LiveServer, client: Client, one_person: Profile, requests_under_way: RequestsUnderWay
) -> None:
    client.force_login(make_drummer())

    def use_it_until_it_fails() -> None:
        with one_person.window(requests_under_way) as page:
            sign_in(page, live_server, client)
            page.goto(f"{live_server.url}/board/")
            page.evaluate("caches.open('one').then(() => localStorage.setItem('one', '1'))")
            page.evaluate("() => { setTimeout(() => { throw new Error('a fault of the page') }) }")
            page.wait_for_timeout(50)

    with pytest.raises(AssertionError):
        use_it_until_it_fails()

    assert (len(one_person.context.pages), one_person.context.cookies()) == (1, [])
    with one_person.window(requests_under_way) as page:
        page.goto(f"{live_server.url}/board/")
        assert "/sign-in/" in page.url
        assert page.evaluate("caches.keys().then((kept) => [localStorage.length, kept.length])") == [0, 0]
        static = page.evaluate("performance.getEntriesByType('resource').filter((one) => one.name.includes('.css'))")
        assert static
        assert {one["transferSize"] for one in static} == {0}  # as a browser says of what it had
