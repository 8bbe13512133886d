from datetime import UTC, date, datetime
from zoneinfo import ZoneInfo

import pytest
from django import forms
from django.template import Context, Template
from django.utils import timezone
from django.utils.html import strip_tags

from portal.people.templatetags.look import (
    Reading,
    Step,
    clock,
    course_steps,
    day,
    day_in_words,
    is_tick,
    measured,
    moment,
    since,
)
from tests.portal.pages import flat

WEDNESDAY = date(2026, 11, 25)


@pytest.mark.parametrize(
    ("day", "words"),
    [
        (date(2026, 11, 25), "today"),
        (date(2026, 11, 24), "yesterday"),
        (date(2026, 11, 23), "Monday"),
        (date(2026, 11, 19), "Thursday"),
        (date(2026, 11, 18), "18 November"),
        (date(2025, 11, 24), "24 November 2025"),
        (date(2026, 11, 27), "27 November"),
    ],
)
def test_days_are_named_within_the_week(day: date, words: str) -> None:
    assert day_in_words(day, WEDNESDAY) == words


def test_since_counts_days_in_the_readers_zone(monkeypatch: pytest.MonkeyPatch) -> None:
    now = datetime(2026, 11, 25, 1, 0, tzinfo=UTC)
    monkeypatch.setattr(timezone, "now", lambda: now)

    with timezone.override("America/New_York"):  # there it is still the 24th, 20:00
        assert strip_tags(since(datetime(2026, 11, 24, 13, 0, tzinfo=UTC))) == "today"
        assert strip_tags(since(datetime(2026, 11, 24, 3, 0, tzinfo=UTC))) == "yesterday"
    with timezone.override("UTC"):
        assert strip_tags(since(datetime(2026, 11, 24, 13, 0, tzinfo=UTC))) == "yesterday"


def test_a_time_says_its_zone_to_people_and_to_programs() -> None:
    at = datetime(2026, 11, 24, 13, 5, tzinfo=UTC)
    # Seoul is nine hours ahead of UTC all year, Buenos Aires three behind: IANA time zone database.
    with timezone.override(ZoneInfo("Asia/Seoul")):
        assert moment(at) == '<time datetime="2026-11-24T22:05:00+09:00">24 Nov 2026, 22:05 Seoul time</time>'
    with timezone.override(ZoneInfo("America/Argentina/Buenos_Aires")):
        assert strip_tags(moment(at)) == "24 Nov 2026, 10:05 Buenos Aires time"
    with timezone.override(UTC):
        assert strip_tags(moment(at)) == "24 Nov 2026, 13:05 UTC"


def test_a_day_is_one_of_the_readers_calendar_and_says_which_time_it_comes_from() -> None:
    with timezone.override(ZoneInfo("Asia/Seoul")):
        shown = day(datetime(2026, 11, 24, 15, 0, tzinfo=UTC))
        began = since(datetime(2026, 11, 24, 15, 0, tzinfo=UTC))
    assert strip_tags(shown) == "25 November 2026"
    for words in (shown, began):
        assert 'datetime="2026-11-25T00:00:00+09:00" title="25 Nov 2026, 00:00 Seoul time"' in words
    assert day(date(2026, 11, 24), "j M Y") == '<time datetime="2026-11-24">24 Nov 2026</time>'


def test_no_time_is_nothing() -> None:
    assert since(None) == moment(None) == day(None) == ""


@pytest.mark.parametrize(
    ("seconds_s", "decimals", "text"),
    [
        (0, 0, "0:00"),
        (185.24, 0, "3:05"),
        (185.24, 1, "3:05.2"),
        (59.96, 1, "1:00.0"),
        (59.6, 0, "1:00"),
        (3_661, 0, "61:01"),
        (-1.5, 3, "−0:01.500"),
        (None, 0, "–"),
    ],
)
def test_clock_carries_seconds_into_minutes(seconds_s: float | None, decimals: int, text: str) -> None:
    assert clock(seconds_s, decimals) == text


@pytest.mark.parametrize(
    ("value", "unit", "text"),
    [
        (-18.24, "LUFS", "−18.2\N{NO-BREAK SPACE}LUFS"),
        (3.0, "2 dBTP", "3.00\N{NO-BREAK SPACE}dBTP"),
        (48_000, "0 Hz", "48\N{NARROW NO-BREAK SPACE}000\N{NO-BREAK SPACE}Hz"),
        (0.5, "", "0.5"),
        (24, "0", "24"),
        (-0.04, "dBFS", "0.0\N{NO-BREAK SPACE}dBFS"),
        (None, "LUFS", "–"),
        ("", "LUFS", "–"),
    ],
)
def test_a_reading_has_its_unit_and_a_true_minus(value: Reading, unit: str, text: str) -> None:
    assert measured(value, unit) == text


COURSE = [("a", "first"), ("b", "second"), ("c", "third")]


@pytest.mark.parametrize(
    ("now", "states"),
    [
        ("a", ["now", "to-come", "to-come"]),
        ("b", ["done", "now", "to-come"]),
        ("c", ["done", "done", "now"]),
        ("elsewhere", ["to-come", "to-come", "to-come"]),
    ],
)
def test_a_course_is_done_up_to_now(now: str, states: list[str]) -> None:
    assert [step.state for step in course_steps(COURSE, now)] == states


def test_a_course_may_be_given_as_choices() -> None:
    from portal.bookings.stages import BookingStage

    first, second = course_steps((BookingStage.ENQUIRY, BookingStage.QUOTED), "quoted")

    assert first == Step(name="enquiry", state="done")
    assert second == Step(name="quoted", state="now")


class BriefForm(forms.Form):
    tempo = forms.FloatField(label="Tempo", help_text="In BPM")
    mine = forms.BooleanField(label="Mine", required=False)
    start = forms.ChoiceField(label="Start", choices=[("one", "On bar one")], widget=forms.RadioSelect)


def test_a_tick_is_told_from_other_fields() -> None:
    form = BriefForm()

    assert [is_tick(form[name]) for name in ("tempo", "mine", "start")] == [False, True, False]


@pytest.mark.parametrize("name", ["tempo", "mine", "start"])
def test_a_field_says_its_error_where_the_control_points(name: str) -> None:
    form = BriefForm({"tempo": "abc", "mine": "", "start": "nowhere"})
    html = Template('{% include "_parts/_field.html" %}').render(Context({"field": form[name]}))

    assert f"{form[name].label}" in html
    for error in form[name].errors:
        assert str(error).split("nowhere")[0] in html
        assert f'id="id_{name}_error"' in html
        assert f"id_{name}_error" in html.split('aria-describedby="')[1].split('"')[0]


def test_a_turn_says_whose_and_since_when() -> None:
    turn = Template('{% include "_parts/_turn.html" with since=since %}')
    since_now = {"since": timezone.now()}

    assert "Your turn, since" in turn.render(Context({"yours": True, **since_now}))
    assert "With Mara, since" in turn.render(Context({"who": "Mara", **since_now}))
    assert "Nobody’s turn" in flat(turn.render(Context({"since": None})))


def test_words_of_several_lines_are_one_sentence_for_a_part() -> None:
    template = "{% load look %}{% words as hint %}\n  From {{ name }},\n  and later.\n{% endwords %}[{{ hint }}]"
    assert Template(template).render(Context({"name": "A & B"})) == "[From A &amp; B, and later.]"
