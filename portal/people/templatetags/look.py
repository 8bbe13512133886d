"""How times, figures and courses are written on a page."""

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Literal

from django import template
from django.db.models import Choices
from django.forms import BoundField, CheckboxInput
from django.utils import formats, timezone
from django.utils.html import format_html, format_html_join
from django.utils.safestring import mark_safe

from portal.people.time_zones import zone_in_words
from portal.sizes import size_in_words

register = template.Library()

MINUS = "\N{MINUS SIGN}"
NO_ANSWER = "\N{EN DASH}"
DAYS_CALLED_BY_NAME = 7
PART_OF_NAME = re.compile(r"[^_-]*[_-]+|[^_-]+$")

# None is a measurement's "no answer"; "" is what a template hands over for a name that is not there.
Reading = float | Literal[""] | None


def day_in_words(day: date, today: date) -> str:
    """Write a past day as people say it: a weekday within the week, then the date, with its year when not this one."""
    age_days = (today - day).days
    if age_days == 0:
        return "today"
    if age_days == 1:
        return "yesterday"
    if 1 < age_days < DAYS_CALLED_BY_NAME:
        return formats.date_format(day, "l")
    return formats.date_format(day, "j F" if day.year == today.year else "j F Y")


@register.simple_block_tag
def words(content: str) -> str:
    """A long sentence for a part's parameter: {% words as hint %}…{% endwords %}. Line breaks are spaces."""
    return mark_safe(" ".join(content.split()))  # noqa: S308 -- the template's own text, escaped where it was written


@register.filter
def moment(at: datetime | None) -> str:
    """Day and time with the zone it is told in, the reader's: "3 Mar 2026, 14:05 Seoul time"."""
    return "" if at is None else format_html('<time datetime="{}">{}</time>', _machine_words(at), moment_in_words(at))


@register.filter
def since(began: datetime | None) -> str:
    """The day something began, in the reader's time zone: "today", "Tuesday", "3 March". Pointed at, it says when."""
    if began is None:
        return ""
    words = day_in_words(timezone.localtime(began).date(), timezone.localdate())
    return _day_of(began, words)


@register.filter
def day(when: date | None, style: str = "j F Y") -> str:
    """A day, by the reader's calendar where it has a time: "3 March 2026". Pointed at, such a one says which time."""
    if when is None:
        return ""
    if isinstance(when, datetime):
        return _day_of(when, formats.date_format(timezone.localtime(when), style))
    return format_html('<time datetime="{}">{}</time>', when.isoformat(), formats.date_format(when, style))


def moment_in_words(at: datetime) -> str:
    local = timezone.localtime(at)
    return f"{formats.date_format(local, 'j M Y, H:i')} {zone_in_words(timezone.get_current_timezone_name())}"


def _day_of(at: datetime, words: str) -> str:
    return format_html('<time datetime="{}" title="{}">{}</time>', _machine_words(at), moment_in_words(at), words)


def _machine_words(at: datetime) -> str:
    return timezone.localtime(at).isoformat(timespec="seconds")


@register.filter
def size(size_bytes: int | None) -> str:
    """Bytes as people read them: "34.6 MB"; a dash where there is no answer."""
    return NO_ANSWER if size_bytes is None else size_in_words(size_bytes)


@register.filter
def clock(seconds_s: Reading, decimals: int = 0) -> str:
    """Seconds as minutes and seconds: 185.24 is "3:05", and with one decimal "3:05.2"."""
    if seconds_s is None or seconds_s == "":
        return NO_ANSWER
    sign = MINUS if seconds_s < 0 else ""
    ticks_per_s = 10**decimals
    minutes, ticks = divmod(round(abs(seconds_s) * ticks_per_s), 60 * ticks_per_s)
    whole_s, fraction = divmod(ticks, ticks_per_s)
    tail = f".{fraction:0{decimals}d}" if decimals else ""
    return f"{sign}{minutes}:{whole_s:02d}{tail}"


@register.filter
def measured(value: Reading, unit: str = "") -> str:
    """A reading with its unit and a true minus sign; a dash where there is no answer.

    A number before the unit says how many decimals: `{{ peak|measured:"2 dBFS" }}`; one where none is said.
    """
    if value is None or value == "":
        return NO_ANSWER
    head, _, tail = unit.partition(" ")
    decimals, unit = (int(head), tail) if head.isdigit() else (1, unit)
    figure = f"{value:z,.{decimals}f}".replace(",", "\N{NARROW NO-BREAK SPACE}").replace("-", MINUS)
    return f"{figure}\N{NO-BREAK SPACE}{unit}" if unit else figure


@register.filter
def breakable(name: str) -> str:
    """A file's name that breaks where its parts begin, and not in the middle of one."""
    return format_html("<span>{}</span>", format_html_join(mark_safe("<wbr>"), "{}", zip(PART_OF_NAME.findall(name))))


StepState = Literal["done", "now", "to-come"]


@dataclass(frozen=True)
class Step:
    name: str
    state: StepState


@register.filter
def course_steps(course: Iterable[Choices | tuple[str, str]], now: str) -> Sequence[Step]:
    """Tell for each stage of a course whether it is past, present or to come. A stage off the course marks none."""
    pairs = [(stage.value, stage.label) if isinstance(stage, Choices) else stage for stage in course]
    present = next((place for place, (value, _) in enumerate(pairs) if value == now), -1)
    return [Step(name=str(name), state=state_at(place, present)) for place, (_, name) in enumerate(pairs)]


def state_at(place: int, present: int) -> StepState:
    if place == present:
        return "now"
    return "done" if place < present else "to-come"


@register.filter
def is_tick(field: BoundField) -> bool:
    return isinstance(field.field.widget, CheckboxInput)
