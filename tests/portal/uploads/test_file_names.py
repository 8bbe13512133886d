from __future__ import annotations

import unicodedata

import pytest

from portal.uploads.file_names import LONGEST_NAME, NO_NAME, clean


@pytest.mark.parametrize(
    ("sent", "shown"),
    [
        ("bass.wav", "bass.wav"),
        ("../../etc/passwd", "passwd"),
        ("C:\\Users\\mara\\bass.wav", "bass.wav"),
        ("..\\x.wav", "x.wav"),
        ("/", NO_NAME),
        ("..", NO_NAME),
        (" . ", NO_NAME),
        ("", NO_NAME),
        ("a\x00b\r\n\tc.wav", "ab c.wav"),
        ("exe\u202egnp.wav", "exegnp.wav"),
        ("한강의 밤.wav", "한강의 밤.wav"),
        ("🥁 👩‍🎤.wav", "🥁 👩‍🎤.wav"),
        ('O\'Neill "2" <b>.wav', 'O\'Neill "2" <b>.wav'),
        ("  two   spaces .wav ", "two spaces .wav"),
    ],
)
def test_a_name_is_shown_as_it_was_meant_and_holds_nothing_harmful(sent: str, shown: str) -> None:
    assert clean(sent) == shown


def test_composed_and_decomposed_letters_are_one_name() -> None:
    # Source: common practice DT-7: e with acute as one character and as two is the same name (Unicode NFC).
    assert clean(unicodedata.normalize("NFD", "Café.wav")) == unicodedata.normalize("NFC", "Café.wav")


@pytest.mark.parametrize(("length", "ending"), [(300, ".wav"), (256, ".aiff"), (400, "")])
def test_a_long_name_keeps_its_ending(length: int, ending: str) -> None:
    shown = clean("x" * length + ending)

    assert len(shown) == LONGEST_NAME
    assert shown.endswith(f"…{ending}")


def test_an_ending_that_is_none_is_cut_like_the_rest() -> None:
    assert len(clean("a." + "x" * 300)) == LONGEST_NAME
