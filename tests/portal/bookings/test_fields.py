from decimal import Decimal

import pytest
from django.core.exceptions import ValidationError

from analysis.maps.tempo_map import NOTE_VALUES, MeterSign
from portal.bookings.fields import BpmField, MeterField, read_bpm, write_bpm
from portal.bookings.models import Brief


@pytest.mark.parametrize(
    ("text", "bpm"),
    [
        ("112", "112"),
        ("112.5", "112.5"),
        ("112,5", "112.5"),
        (" 112 bpm ", "112"),
        ("98.76543", "98.76543"),
        ("1.12e2", "112"),
        ("20", "20"),
        ("400", "400"),
    ],
)
def test_reads_a_tempo_exactly(text: str, bpm: str) -> None:
    assert read_bpm(text) == Decimal(bpm)


@pytest.mark.parametrize(
    ("text", "sentence"),
    [
        ("0", "A tempo of 0 is not possible"),
        ("-5", "A tempo of -5 is not possible"),
        ("abc", "“abc” is not a valid tempo"),
        ("1e9", "1e9 is too fast"),
        ("1e999", "1e999 is too fast"),
        ("1e99999999", "is not a valid tempo"),
        ("19.99", "19.99 is too slow"),
        ("401", "401 is too fast"),
        ("nan", "“nan” is not a valid tempo"),
        ("Infinity", "is not a valid tempo"),
        ("1_12", "is not a valid tempo"),
        ("1.234.567", "is not a valid tempo"),
        ("112.1234567", "more than 5 decimal places"),
        ("110-120", "is not a valid tempo"),
    ],
)
def test_says_in_plain_words_why_a_tempo_cannot_be(text: str, sentence: str) -> None:
    with pytest.raises(ValidationError, match=sentence):
        read_bpm(text)


def test_an_unknown_tempo_is_no_number() -> None:
    assert BpmField(required=False).clean("  ") is None


def test_a_tempo_is_written_without_needless_zeros_and_read_back_the_same() -> None:
    for text in ("112", "112.5", "98.76543", "100"):
        assert write_bpm(Decimal(text).quantize(Decimal("0.00001"))) == text


@pytest.mark.parametrize(("text", "meter"), [("4/4", "4/4"), ("6 / 8", "6/8"), ("12/8", "12/8"), ("", "")])
def test_reads_a_meter(text: str, meter: str) -> None:
    assert MeterField(required=False).clean(text) == meter


@pytest.mark.parametrize("text", ["33/4", "99/4", "64/16"])
def test_a_bar_of_more_beats_than_anyone_counts_is_refused(text: str) -> None:
    with pytest.raises(ValidationError, match="not possible: the range is 1 to 32"):
        MeterField(required=False).clean(text)


@pytest.mark.parametrize("text", ["0/4", "4/3", "4", "4/", "four", "100/4", "４/４"])
def test_says_why_a_meter_cannot_be(text: str) -> None:
    with pytest.raises(ValidationError, match="is not a valid meter"):
        MeterField(required=False).clean(text)


@pytest.mark.parametrize("value", NOTE_VALUES)
def test_a_brief_and_a_form_take_every_note_that_a_map_counts_in(value: int) -> None:
    """A sheet's form that stands filled with a map's 7/32 can be sent."""
    meter = str(MeterSign.parse(f"7/{value}"))
    assert MeterField().clean(meter) == meter
    Brief._meta.get_field("meter").run_validators(meter)
