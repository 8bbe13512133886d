"""Windows of the tests' browser. A profile goes from test to test: it keeps the static files that it has read, which
take longer to fetch and to compile than most tests last. All else that a page left behind goes with its window."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING
from urllib.parse import urlsplit

import pytest

from tests.requests_under_way import RequestsUnderWay

if TYPE_CHECKING:
    from django.test import Client
    from playwright.sync_api import Browser, Page
    from pytest_django.live_server_helper import LiveServer

# Patience with a busy machine: only a test that fails waits so long.
PAGE_TIMEOUT_MS = 60_000
KEPT_FOR_S = 3_600


class Profile:
    """One person's browser, signed out and empty before each window and after it."""

    def __init__(self, browser: Browser) -> None:
        self.context = browser.new_context(viewport={"width": 1440, "height": 900})
        self.context.set_default_timeout(PAGE_TIMEOUT_MS)
        self._origins: set[str] = set()
        # Blank, and open all the time: through it is told what is to go.
        self._session = self.context.new_cdp_session(self.context.new_page())
        self.context.on("page", self._watch)

    def _watch(self, page: Page) -> None:
        page.on(
            "framenavigated", lambda frame: self._origins.add("{0.scheme}://{0.netloc}".format(urlsplit(frame.url)))
        )

    @contextmanager
    def window(self, requests_under_way: RequestsUnderWay) -> Iterator[Page]:
        page = self.context.new_page()
        try:
            with no_script_errors(page):
                yield page
        finally:
            self._close(requests_under_way)

    def _close(self, requests_under_way: RequestsUnderWay) -> None:
        # What a page says as it closes would reach the house while its tables are being emptied.
        self.context.set_offline(offline=True)
        for left in self.context.pages[1:]:
            left.close()
        requests_under_way.wait_for_none()
        self._forget()
        self.context.set_offline(offline=False)

    def _forget(self) -> None:
        self.context.clear_cookies()
        self.context.clear_permissions()
        for origin in self._origins:
            self._session.send("Storage.clearDataForOrigin", {"origin": origin, "storageTypes": "all"})
        self._origins.clear()


def sign_in(page: Page, house: LiveServer, client: Client) -> None:
    """As whom the test's client is signed in."""
    cookie = {"name": "sessionid", "value": client.cookies["sessionid"].value, "url": house.url}
    page.context.add_cookies([cookie])  # type: ignore[list-item]


@contextmanager
def no_script_errors(page: Page) -> Iterator[None]:
    """A script's error on the page is the test's error."""
    errors: list[str] = []

    def keep(error: object) -> None:
        errors.append(str(error))

    page.on("pageerror", keep)
    yield
    page.remove_listener("pageerror", keep)
    assert not errors


@contextmanager
def static_files_that_stay() -> Iterator[None]:
    """The tests' server says of static files for how long a browser may keep them, as the house does of its own."""
    from django.contrib.staticfiles.handlers import StaticFilesHandler
    from django.http import HttpRequest
    from django.http.response import HttpResponseBase

    serve = StaticFilesHandler.serve

    def served(handler: StaticFilesHandler, request: HttpRequest) -> HttpResponseBase:
        answer = serve(handler, request)
        answer["Cache-Control"] = f"max-age={KEPT_FOR_S}"
        return answer

    with pytest.MonkeyPatch.context() as patches:
        patches.setattr(StaticFilesHandler, "serve", served)
        yield
