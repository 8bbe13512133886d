import subprocess
import sys
from pathlib import Path
from xml.etree import ElementTree as ET

import pytest

from analysis.chart import read_chart
from analysis.engraving import FORMATS, PAGES, Look, engrave
from analysis.engraving.forms import _DARK_INK, _DARK_PAPER
from tests.analysis.chart.by_hand import straight_rock

BEGINNINGS = {"pdf": b"%PDF-", "svg": b"<svg ", "musicxml": b"<?xml", "mei": b"<?xml"}


@pytest.mark.parametrize("form", FORMATS)
def test_every_form_is_written_and_is_the_same_each_time(form: str) -> None:
    files = engrave(straight_rock(), form)

    assert all(file.startswith(BEGINNINGS[form]) for file in files)
    assert files == engrave(straight_rock(), form)


@pytest.mark.parametrize("page", PAGES)
def test_every_page_can_be_dark(page: str) -> None:
    files = engrave(straight_rock(), "svg", Look(page=page, dark=True))

    assert all(_DARK_PAPER.encode() in file and _DARK_INK.encode() in file for file in files)


def test_a_chart_is_engraved_in_another_thread_than_the_one_that_imported_the_engraver() -> None:
    """verovio 6.4 keeps its default path by thread: found when a server's thread was the first to import it."""
    lines = (
        "import threading",
        "first = threading.Thread(target=lambda: __import__('verovio'))",
        "first.start(), first.join()",
        "from analysis.engraving import engrave",
        "from tests.analysis.chart.by_hand import straight_rock",
        "print(len(engrave(straight_rock(), 'svg')))",
    )
    done = subprocess.run([sys.executable, "-c", "\n".join(lines)], capture_output=True, text=True, check=False)

    assert (done.stdout, done.returncode) == ("1\n", 0), done.stderr


def test_nothing_is_written_to_disk(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)

    engrave(straight_rock(), "pdf")

    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("form", FORMATS)
def test_any_letters_are_printed_and_give_whole_files(form: str) -> None:
    text = "\x00\x07 젖 è <&>\"' \ufffe\uffff \U0001f941 \ud800 שלום ]]>"
    words = {"title": text, "artist": text, "words": text}
    section = {"letter": "A", "name": text, "bars": [{"words": [{"text": text, "cue": True}]}]}

    files = engrave(read_chart({"chart": 1, "sections": [section], **words}), form, Look(note=text))

    for file in files:
        if form != "pdf":
            ET.fromstring(file)


def test_dark_ink_can_be_read() -> None:
    # WCAG 2.2, contrast ratio: relative luminances, (L1 + 0.05) / (L2 + 0.05).
    def luminance(colour: str) -> float:
        parts = [int(colour[at : at + 2], 16) / 255 for at in (1, 3, 5)]
        red, green, blue = (part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4 for part in parts)
        return 0.2126 * red + 0.7152 * green + 0.0722 * blue

    assert round((luminance(_DARK_INK) + 0.05) / (luminance(_DARK_PAPER) + 0.05), 1) == 15.7


@pytest.mark.parametrize("form", FORMATS)
def test_half_of_a_two_bar_repeat_is_printed_as_slashes(form: str) -> None:
    """A bar that repeats two bars alone, and a pair that the end of a section divides."""
    first = [{}, {}, {"shows": "repeat-2"}, {}, {}, {"shows": "repeat-2"}]
    halves = [{"letter": "A", "bars": first}, {"letter": "B", "bars": [{"shows": "repeat-2"}, {}]}]
    slashes = [{"letter": "A", "bars": [{}] * 6}, {"letter": "B", "bars": [{}] * 2}]
    printed = [engrave(read_chart({"chart": 1, "title": "", "sections": one}), form) for one in (halves, slashes)]

    assert printed[0] == printed[1]
