"""The sums and words of sending files, asked in a browser. Expected values are arithmetic."""

import pytest
from playwright.sync_api import Page

from tests.portal.static.js.lib.test_sums import ask

pytestmark = pytest.mark.browser


@pytest.mark.parametrize(
    ("count", "words"),
    [(0, "0 bytes"), (999, "999 bytes"), (1000, "1.0 kB"), (25_117_758, "25.1 MB"), (4 * 1024**3, "4.3 GB")],
)
def test_sizes_are_counted_as_the_server_counts_them(ready: Page, count: int, words: str) -> None:
    assert ask(ready, "upload/sending", "m.size(given[0])", count) == words


@pytest.mark.parametrize(
    ("seconds", "words"), [(0.2, "1 s"), (59, "59 s"), (90, "2 min"), (3_600, "1 h 0 min"), (5_400, "1 h 30 min")]
)
def test_how_long_it_takes(ready: Page, seconds: float, words: str) -> None:
    assert ask(ready, "upload/sending", "m.duration(given[0])", seconds) == words


def test_the_rate_is_that_of_the_last_seconds_only(ready: Page) -> None:
    # 10 MB a second, then a pause of a minute, then 1 MB a second: what counts is the last.
    moments = [
        {"atS": 0, "bytes": 0},
        {"atS": 1, "bytes": 10_000_000},
        {"atS": 61, "bytes": 10_000_000},
        {"atS": 62, "bytes": 11_000_000},
    ]

    assert ask(ready, "upload/sending", "m.rate(m.recent(given[0], 5))", moments) == 1_000_000


def test_one_moment_has_no_rate(ready: Page) -> None:
    assert ask(ready, "upload/sending", "m.rate([{atS: 1, bytes: 5}])") == 0


def test_what_is_left_is_said_only_while_it_goes(ready: Page) -> None:
    assert ask(ready, "upload/sending", "m.progressWords(1000, 4000, 1000)") == "1.0 kB of 4.0 kB, 1.0 kB/s, 3 s left"
    assert ask(ready, "upload/sending", "m.progressWords(4000, 4000, 1000)") == "4.0 kB of 4.0 kB"


@pytest.mark.parametrize(
    ("status", "is_refusal"),
    [(400, True), (404, True), (413, True), (422, True), (409, False), (423, False), (500, False), (0, False)],
)
def test_what_passes_is_tried_again_and_what_is_refused_is_not(ready: Page, status: int, is_refusal: bool) -> None:
    assert ask(ready, "upload/sending", "m.isRefusal(given[0])", status) is is_refusal


def test_the_same_file_for_another_song_is_another_upload(ready: Page) -> None:
    print_of = "m.fingerprint({name: 'a.wav', size: 5, lastModified: 7}, 'source', given[0])"

    assert ask(ready, "upload/sending", print_of, "1") == ask(ready, "upload/sending", print_of, "1")
    assert ask(ready, "upload/sending", print_of, "1") != ask(ready, "upload/sending", print_of, "2")
