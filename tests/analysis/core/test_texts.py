"""Texts out of files: what is shown and stored of them."""

import pytest

from analysis.core.texts import as_utf8, clean_text, storable


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("Long way home", "Long way home"),
        ("one\0two", "one / two"),  # ID3v2.4, section 4.2: several values, divided by zero bytes
        ("one\0\0", "one"),
        ("\0", ""),
        ("a\tb\r\nc\x1b[31m", "a b c [31m"),
        ("\x85next\x9bline", "next line"),  # C1 control characters
        ("bass\u202egnp.exe", "bassgnp.exe"),  # UAX 9: right-to-left override
        ("\u2066x\u2069 \u200fy\u061c", "x y"),
        ("\ufeffMixed", "Mixed"),
        ("half \ud83d emoji", "half \ufffd emoji"),
        ("👩\u200d🎤 naïve नमस्ते", "👩\u200d🎤 naïve नमस्ते"),  # a joiner is part of a character
        ("  spaced   out  ", "spaced out"),
        ("x" * 600, "x" * 500),
    ],
)
def test_one_line_that_can_be_shown(text: str, expected: str) -> None:
    assert clean_text(text) == expected


def test_json_that_any_database_keeps() -> None:
    hostile = {"na\0me": ["a\0b", {"deep": "\udc80"}], "count": 3, "none": None, "line": "kept\nas it is"}

    assert storable(hostile) == {
        "name": ["ab", {"deep": "\ufffd"}],
        "count": 3,
        "none": None,
        "line": "kept\nas it is",
    }


def test_bytes_of_utf8_are_read_as_such_and_others_stay() -> None:
    # In UTF-8 "è" is the two bytes C3 A8 (RFC 3629), which Latin-1 reads as two letters.
    assert as_utf8("perch\u00c3\u00a8") == "perch\u00e8"
    assert as_utf8("perch\u00e9") == "perch\u00e9"
    assert as_utf8("plain") == "plain"
