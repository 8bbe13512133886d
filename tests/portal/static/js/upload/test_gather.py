"""What is taken of a folder, asked in a browser; the same rules as for zips."""

from __future__ import annotations

import pytest
from playwright.sync_api import Page

from tests.portal.intake.files.test_leftovers import SENT
from tests.portal.static.js.lib.test_sums import ask

pytestmark = pytest.mark.browser


def test_what_is_left_out_is_what_the_server_leaves_out(ready: Page) -> None:
    sent = [{"path": path, "size": size_bytes} for path, size_bytes, _ in SENT]
    assert ask(ready, "upload/leftovers", "m.leftoversAmong(given[0])", sent) == [is_out for *_, is_out in SENT]


@pytest.mark.parametrize(
    ("paths", "folders"),
    [
        (["a.wav"], [""]),
        (["Stems/a.wav", "Stems/b.wav"], ["", ""]),
        (["Stems/a.wav", "Stems/Drums/b.wav"], ["", "Drums"]),
        (["Song/Stems/a.wav", "Song/Stems/b.wav"], ["", ""]),
        (["Drums/a.wav", "Loops/b.wav"], ["Drums", "Loops"]),
        (["Drums/a.wav", "b.wav"], ["Drums", ""]),
        ([], []),
    ],
)
def test_the_folder_that_everything_lies_in_is_left_out(ready: Page, paths: list[str], folders: list[str]) -> None:
    found = "m.withoutCommonFolder(given[0].map((path) => ({ file: 1, path }))).map(({ folder }) => folder)"
    assert ask(ready, "upload/gather", found, paths) == folders


def test_the_words(ready: Page) -> None:
    assert ask(ready, "upload/gather", "m.leftOutWords([])") == ""
    assert (
        ask(ready, "upload/gather", "m.leftOutWords(['a', 'a'])")
        == "Left out: 2 files with system or program data (a)."
    )
    assert (
        ask(ready, "upload/gather", "m.leftOutWords(['a', 'b', 'c', 'd'])")
        == "Left out: 4 files with system or program data (a, b, c, …)."
    )
