"""Names by the trade: fields joined by underscores, no spaces, punctuation or accents, a title under 15 characters.

Producers & Engineers Wing, 2018 edition, p. 13 (second-hand).
"""

from __future__ import annotations

import re

import pytest

from analysis.media.safe_names import is_safe
from analysis.session.file_names import (
    DEFAULT_TEMPLATE,
    FIELDS,
    NameParts,
    NameTemplateError,
    check_template,
    initials,
    rate_word,
    session_names,
    short_title,
)

SHARED = NameParts("Mara König", "Cold Bus Under Spoons", "Ida Low", 3, 48_000, 24)


def test_the_fields_in_their_order() -> None:
    names = session_names(DEFAULT_TEMPLATE, SHARED, ["bass gtr.wav", "01 Keys (wet).aiff"])

    assert names == ["MK_ColdBusUnder_ILv3_BassGtr_48k_24.wav", "MK_ColdBusUnder_ILv3_01KeysWet_48k_24.wav"]


def test_two_files_of_one_name_stay_two() -> None:
    names = session_names("{part}", SHARED, ["bass gtr.wav", "Bass_Gtr.flac", "BASSGTR.wav", "BassGtr_2.wav"])

    assert len({name.casefold() for name in names}) == 4
    assert names[0] == "BassGtr.wav"


@pytest.mark.parametrize(
    "name", ["Ärger & Söhne / Demo (final).wav", "베이스.wav", "CON.wav", "x" * 300 + ".wav", "...", ""]
)
def test_every_name_is_safe(name: str) -> None:
    for template in (DEFAULT_TEMPLATE, "{part}", "{number}-{part}"):
        assert all(is_safe(made) for made in session_names(template, SHARED, [name]))


def test_a_field_that_is_empty_leaves_no_gap() -> None:
    assert session_names(DEFAULT_TEMPLATE, NameParts(song="Salt"), ["pad.wav"]) == ["Salt_v1_Pad_48k_24.wav"]


def test_numbers_have_as_many_digits_as_the_pack_needs() -> None:
    assert session_names("{number}_{part}", SHARED, ["a.wav"]) == ["01_A.wav"]
    assert session_names("{number}_{part}", SHARED, ["a.wav"] * 200)[199].startswith("200_")


@pytest.mark.parametrize(
    ("template", "sentence"),
    [
        ("{client}", "needs {part}"),
        ("{part}_{artist}", "no field {artist}"),
        ("{part!r}", "no field"),
        ("{part:>9}", "no field"),
        ("{part.upper}", "no field"),
        ("{}_{part}", "no field"),
        ("{part", "brace is missing"),
        ("part}", "brace is missing"),
        ("my {part}", "only letters"),
        ("../{part}", "only letters"),
        ("{part}" + "x" * 100, "longer than"),
    ],
)
def test_what_is_wrong_with_a_template_is_said(template: str, sentence: str) -> None:
    with pytest.raises(NameTemplateError, match=re.escape(sentence)):
        check_template(template)


def test_every_field_can_be_used() -> None:
    check_template("_".join(f"{{{field}}}" for field in FIELDS))


@pytest.mark.parametrize(
    ("rate_hz", "word"), [(44_100, "44k1"), (48_000, "48k"), (88_200, "88k2"), (96_000, "96k"), (11_025, "11k025")]
)
def test_rates(rate_hz: int, word: str) -> None:
    assert rate_word(rate_hz) == word


def test_titles_and_initials() -> None:
    assert [short_title(title) for title in ("Ärger und Söhne daheim", "Incomprehensibilities", "베이스")] == [
        "ArgerUndSohne",
        "Incomprehensibi",
        "Song",
    ]
    assert [initials(name) for name in ("mara könig", "", "Łukasz de Wit")] == ["MK", "", "LDW"]
