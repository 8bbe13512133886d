"""What is taken of a folder, asked in a browser; the same rules as for zips."""

from __future__ import annotations

import pytest
from playwright.sync_api import Page

from tests.portal.intake.zips.test_names import JUNK, KEPT
from tests.portal.static.conftest import Show
from tests.portal.static.js.lib.test_sums import ask

pytestmark = pytest.mark.browser


@pytest.fixture(autouse=True)
def module(show: Show) -> None:
    show("")


def test_junk_is_what_it_is_in_zips(page: Page) -> None:
    found = ask(page, "upload/junk", "given[0].map((path) => m.isJunk(path))", JUNK + KEPT)
    assert found == [True] * len(JUNK) + [False] * len(KEPT)


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
def test_the_folder_that_everything_lies_in_is_left_out(page: Page, paths: list[str], folders: list[str]) -> None:
    found = "m.withoutCommonFolder(given[0].map((path) => ({ file: 1, path }))).map(({ folder }) => folder)"
    assert ask(page, "upload/gather", found, paths) == folders


def test_the_words(page: Page) -> None:
    assert ask(page, "upload/gather", "m.junkWords([])") == ""
    assert ask(page, "upload/gather", "m.junkWords(['a', 'a'])") == "Left out: 2 files with system data (a)."
    assert (
        ask(page, "upload/gather", "m.junkWords(['a', 'b', 'c', 'd'])")
        == "Left out: 4 files with system data (a, b, c, …)."
    )
