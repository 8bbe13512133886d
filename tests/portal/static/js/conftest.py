"""The tests of scripts share a window, and those of one file a document if they ask for no other: to open one takes
longer than most of them."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import pytest

from tests.browsing import Profile, no_script_errors
from tests.portal.static.conftest import ADDRESS, open_page

if TYPE_CHECKING:
    from playwright.sync_api import Browser, Page

    from tests.requests_under_way import RequestsUnderWay


@dataclass
class SharedWindow:
    """`opened_for` is the file of tests whose document it shows: none, if a test had one of its own."""

    page: Page
    opened_for: str | None = None

    def clear(self) -> None:
        """No document, and nothing stored."""
        self.opened_for = None
        self.page.unroute_all()
        self.page.goto("about:blank")
        session = self.page.context.new_cdp_session(self.page)
        session.send("Storage.clearDataForOrigin", {"origin": ADDRESS, "storageTypes": "all"})
        session.detach()


@pytest.fixture(scope="session")
def shared_window(chromium: Browser, requests_under_way: RequestsUnderWay) -> Iterator[SharedWindow]:
    with Profile(chromium).window(requests_under_way) as page:
        yield SharedWindow(page)


@pytest.fixture
def page(shared_window: SharedWindow) -> Iterator[Page]:
    """For a document of the test's own."""
    shared_window.clear()
    with no_script_errors(shared_window.page):
        yield shared_window.page


@pytest.fixture(scope="module")
def answers() -> Mapping[str, Any]:
    """By path, what `ready` is answered beside the house's own files."""
    return {}


@pytest.fixture
def ready(shared_window: SharedWindow, answers: Mapping[str, Any], request: pytest.FixtureRequest) -> Iterator[Page]:
    """An empty page, the same one for all tests of a file: for scripts that keep nothing between two questions."""
    with no_script_errors(shared_window.page):
        if shared_window.opened_for != request.path.as_posix():
            shared_window.clear()
            open_page(shared_window.page, "", **answers)
            shared_window.opened_for = request.path.as_posix()
        yield shared_window.page
