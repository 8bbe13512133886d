"""What every test may ask for. Pages in a real browser: take `page` and mark the test `browser`."""

import gc
import os
import shutil
from collections.abc import Iterator
from itertools import chain
from pathlib import Path
from typing import TYPE_CHECKING
from urllib.parse import urlsplit

import pytest
from pytest_django import DjangoDbBlocker

from portal.demo import broker
from tests.browsing import PAGE_TIMEOUT_MS, Profile, static_files_that_stay
from tests.houses import made_once, settle
from tests.queue_server import serving
from tests.requests_under_way import RequestsUnderWay

if TYPE_CHECKING:
    from playwright.sync_api import Browser, Page

CHROMIUM_NAMES = ("chromium-headless-shell", "chromium", "chromium-browser", "google-chrome")
# A browser that looks for nothing outside this machine.
CHROMIUM_FLAGS = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]
NO_CHROMIUM = "no Chromium on this machine: `make browser` looks for one"


def chromium_program() -> str | None:
    """The machine's own Chromium, else the one that playwright brought, else none."""
    own = next(filter(None, map(shutil.which, CHROMIUM_NAMES)), None)
    if own:
        return own
    from playwright.sync_api import sync_playwright

    with sync_playwright() as playwright:
        brought = playwright.chromium.executable_path
    return brought if Path(brought).exists() else None


@pytest.fixture(autouse=True)
def no_quiet_time(monkeypatch: pytest.MonkeyPatch) -> None:
    """A house in tests waits for no further files, unless a test says for how long."""
    from portal.people.models import House

    field = House._meta.get_field("quiet_after_files_s")
    monkeypatch.setitem(vars(field), "_get_default", lambda: 0)


@pytest.fixture(scope="session")
def queue_url(tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    """A real queue: the server that KITPOST_BROKER_URL names, else one started as a demo starts its own."""
    named = os.environ["KITPOST_BROKER_URL"]
    if named != "memory://":
        yield named
        return
    data_dir = tmp_path_factory.mktemp("q")
    with serving(data_dir):
        yield broker.broker_url(broker.socket_path(data_dir))


@pytest.fixture(scope="session")
def chromium() -> "Iterator[Browser]":
    program = chromium_program()
    if program is None:
        if os.environ.get("CI") == "true":
            pytest.fail(NO_CHROMIUM)
        pytest.skip(NO_CHROMIUM)
    from playwright.sync_api import expect, sync_playwright

    expect.set_options(timeout=PAGE_TIMEOUT_MS)
    with sync_playwright() as playwright:
        # Playwright runs an event loop in this thread; the tests' own queries beside it are not part of it.
        os.environ["DJANGO_ALLOW_ASYNC_UNSAFE"] = "true"
        browser = playwright.chromium.launch(executable_path=program, args=CHROMIUM_FLAGS)
        yield browser
        browser.close()
        del os.environ["DJANGO_ALLOW_ASYNC_UNSAFE"]


@pytest.fixture(scope="session")
def shared_folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """One for all processes that test side by side."""
    own = tmp_path_factory.getbasetemp()
    return own.parent if "PYTEST_XDIST_WORKER" in os.environ else own


@pytest.fixture(scope="session")
def settled_house(shared_folder: Path) -> Path:
    return made_once(shared_folder / "settled-house", settle)


@pytest.fixture
def house_dir(settled_house: Path, tmp_path: Path) -> Path:
    """A house as it is when its own people's songs are measured. It is the test's own, and goes on from there."""
    return shutil.copytree(settled_house, tmp_path / "house")


@pytest.fixture(scope="session")
def django_db_keepdb() -> bool:
    """SQLite's file is there already, copied, and goes with its folder."""
    from django.db import connection

    return connection.vendor == "sqlite"


@pytest.fixture(scope="session")
def django_db_modify_db_settings(
    django_db_modify_db_settings_parallel_suffix: None, shared_folder: Path, django_db_blocker: DjangoDbBlocker
) -> None:
    from tests import tables

    with django_db_blocker.unblock():
        tables.copy_migrated(shared_folder)


@pytest.fixture(scope="session")
def django_db_setup(django_db_setup: None, django_db_blocker: DjangoDbBlocker, shared_folder: Path) -> Iterator[None]:
    """As pytest-django makes it. At the end PostgreSQL drops no database in which a page's last request is still at
    work: what is left there is ended first."""
    from django.db import connection
    from django.test import TransactionTestCase

    from tests import tables

    with pytest.MonkeyPatch.context() as patches:
        patches.setattr(TransactionTestCase, "_fixture_teardown", tables.empty)
        yield
    with django_db_blocker.unblock():
        tables.drop_migrated(shared_folder)
        if connection.vendor == "postgresql":
            others = "FROM pg_stat_activity WHERE datname = current_database() AND pid <> pg_backend_pid()"
            with connection.cursor() as cursor:
                cursor.execute(f"SELECT pg_terminate_backend(pid) {others}")


@pytest.fixture(scope="session")
def requests_under_way() -> RequestsUnderWay:
    return RequestsUnderWay()


@pytest.fixture(scope="session")
def one_person(chromium: "Browser") -> Iterator[Profile]:
    with static_files_that_stay():
        yield Profile(chromium)


@pytest.fixture(scope="session")
def other_person(chromium: "Browser", one_person: Profile) -> Profile:
    return Profile(chromium)


@pytest.fixture
def page(one_person: Profile, requests_under_way: RequestsUnderWay) -> "Iterator[Page]":
    """A signed-out window."""
    with one_person.window(requests_under_way) as page:
        yield page


@pytest.fixture
def other_page(other_person: Profile, requests_under_way: RequestsUnderWay) -> "Iterator[Page]":
    """The window of a second person."""
    with other_person.window(requests_under_way) as page:
        yield page


def pytest_addoption(parser: pytest.Parser) -> None:
    parser.addoption("--with-servers", action="store_true", help="only tests that take the database or the queue")


def takes_servers(item: pytest.Item) -> bool:
    """Others cannot: pytest-django refuses the database to a test that does not ask for it."""
    asked = {"db", "transactional_db", "live_server", "queue_url"}.intersection(getattr(item, "fixturenames", ()))
    return bool(asked) or item.get_closest_marker("django_db") is not None


@pytest.hookimpl(trylast=True)
def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    if config.getoption("with_servers"):
        config.hook.pytest_deselected(items=[item for item in items if not takes_servers(item)])
        items[:] = filter(takes_servers, items)
    deal_houses(items)


@pytest.hookimpl(tryfirst=True)
def pytest_collection() -> None:
    gc.disable()


@pytest.hookimpl(trylast=True)
def pytest_collection_finish() -> None:
    """Some hundred thousand objects of modules and tests stay to the end: to look through them for garbage again and
    again took a tenth of the time of all tests."""
    gc.collect()
    gc.freeze()
    gc.set_threshold(10_000, 20, 20)
    gc.enable()


def deal_houses(items: list[pytest.Item]) -> None:
    """Side by side, each process begins with its share of the tests of whole houses and whole courses: begun last, one
    would be at work long after the others had ended. Tests that share a house come to one process, one after another,
    also when they were shuffled. The processes get equal pieces of this list, one after another."""
    processes = int(os.environ.get("PYTEST_XDIST_WORKER_COUNT", "1"))
    shares: list[list[pytest.Item]] = [[] for _ in range(processes)]
    for group in houses_of(items):
        min(shares, key=len).extend(group)
    others = [item for item in items if item not in set(chain.from_iterable(shares))]
    dealt: list[pytest.Item] = []
    for process, share in enumerate(shares):
        piece = (len(items) - len(dealt)) // (processes - process)
        rest = max(0, piece - len(share))
        dealt += share + others[:rest]
        others = others[rest:]
    items[:] = dealt


def houses_of(items: list[pytest.Item]) -> list[list[pytest.Item]]:
    """The tests of each shared house, and one by one those that have a house or a course to themselves."""
    shared: dict[str, list[pytest.Item]] = {"quiet_house": [], "struck_house": []}
    alone = []
    for item in items:
        asked = set(getattr(item, "fixturenames", ()))
        if own := asked.intersection(shared):
            shared[own.pop()].append(item)
        elif {"house_dir", "at_windows"}.intersection(asked):
            alone.append([item])
    return [*filter(None, shared.values()), *alone]


def pytest_report_header() -> str:
    from django.conf import settings

    database = settings.DATABASES["default"]["ENGINE"].rpartition(".")[2]
    return f"servers: database {database}, queue {urlsplit(settings.CELERY_BROKER_URL).scheme}"


def pytest_terminal_summary(terminalreporter: pytest.TerminalReporter) -> None:
    if any(NO_CHROMIUM in str(report.longrepr) for report in terminalreporter.stats.get("skipped", [])):
        terminalreporter.section("NO BROWSER TEST RAN", sep="*", red=True, bold=True)
        terminalreporter.line(f"{NO_CHROMIUM}.")
