"""Every part of the look on one page: narrow, wide, at the kit, by keyboard. Source: WCAG 2.2, SC as named."""

from datetime import timedelta
from pathlib import Path

import pytest
from django import forms
from django.template import Context, Template
from django.utils import timezone
from playwright.sync_api import Page

from portal.bookings.stages import SongStage, song_course
from tests.portal.static.conftest import Show

pytestmark = pytest.mark.browser

SPECIMEN = Template((Path(__file__).parent / "specimen.html").read_text())
LEAST_TARGET_PX = 24
SMALL_TARGETS = """(least) => [...document.querySelectorAll('a[href], button, input, select, textarea')]
  .filter((element) => element.checkVisibility() && !element.closest('.skip, p, li > b'))
  .map((element) => [element, element.getBoundingClientRect()])
  .filter(([element, box]) => box.width < least || box.height < least)
  .map(([element]) => element.outerHTML.slice(0, 90))"""
OUTSIDE = """() => [...document.querySelectorAll('body *')]
  .filter((element) => !element.closest('.unseen, .skip, .fold thead'))
  .filter((element) => element.getBoundingClientRect().right > innerWidth + 1)
  .map((element) => element.outerHTML.slice(0, 90))"""


class BriefForm(forms.Form):
    tempo = forms.FloatField(label="Tempo in BPM", help_text="Decimals count: 112.5 is not 112.")
    meter = forms.ChoiceField(label="Meter", choices=[("4/4", "4/4"), ("6/8", "6/8")])
    start = forms.ChoiceField(
        label="Where does the file start?", choices=[("one", "On bar one")], widget=forms.RadioSelect
    )
    feel = forms.CharField(label="Feel", widget=forms.Textarea, required=False)
    own = forms.BooleanField(label="I may send these recordings")


@pytest.fixture
def specimen(page: Page, show: Show) -> Page:
    now = timezone.now()
    entries = [{"at": now, "who": "Mara", "text": "sent five stems.", "note": "They are being checked."}] * 3
    form = BriefForm({"tempo": "abc", "start": "nowhere"})
    context = {
        "form": form,
        "now": now,
        "then": now - timedelta(days=3),
        "entries": entries,
        "course": song_course(SongStage.TRACKING, for_client=False),
    }
    show(SPECIMEN.render(Context(context)))
    page.locator(".wave canvas").wait_for()
    page.locator(".player-row").wait_for()
    return page


@pytest.mark.parametrize("place", ["desk", "kit"])
@pytest.mark.parametrize("width_px", [320, 390, 1440])
def test_the_page_fits_its_window(specimen: Page, width_px: int, place: str) -> None:
    """SC 1.4.10: no scrolling in two directions at 320 CSS pixels."""
    specimen.set_viewport_size({"width": width_px, "height": 900})
    specimen.evaluate("(place) => document.body.dataset.place = place", place)
    specimen.wait_for_function("document.querySelector('.wave canvas').getBoundingClientRect().right <= innerWidth")

    assert specimen.evaluate(OUTSIDE) == []
    assert specimen.evaluate("document.documentElement.scrollWidth") <= width_px


@pytest.mark.parametrize("width_px", [320, 1440])
def test_targets_can_be_hit(specimen: Page, width_px: int) -> None:
    """SC 2.5.8: 24 by 24 CSS pixels, links within a sentence excepted."""
    specimen.set_viewport_size({"width": width_px, "height": 900})

    assert specimen.evaluate(SMALL_TARGETS, LEAST_TARGET_PX) == []


def test_text_may_be_spaced_out(specimen: Page) -> None:
    """SC 1.4.12: line 1.5, paragraph 2, letter 0.12, word 0.16 em, without loss."""
    specimen.set_viewport_size({"width": 320, "height": 900})
    specimen.add_style_tag(
        content="* { line-height: 1.5 !important; letter-spacing: 0.12em !important; word-spacing: 0.16em !important; }"
        "p { margin-bottom: 2em !important; }"
    )

    assert specimen.evaluate(OUTSIDE) == []


def test_focus_is_seen_on_every_control(specimen: Page) -> None:
    """SC 2.4.7: each stop of the Tab key is inside a ring, its own or its frame's."""
    ringless = specimen.evaluate(
        """() => [...document.querySelectorAll('a[href], button:not([disabled]), input, select, textarea, canvas')]
          .filter((element) => element.checkVisibility())
          .filter((element) => {
            element.focus({ focusVisible: true });
            const frame = element.closest('.wave, .dropzone');
            const has = (one) => one && getComputedStyle(one).outlineStyle === 'solid';
            return !has(element) && !has(frame);
          })
          .map((element) => element.outerHTML.slice(0, 90))"""
    )

    assert ringless == []


def test_the_skip_link_comes_first_and_into_view(specimen: Page) -> None:
    specimen.keyboard.press("Tab")

    assert specimen.evaluate("document.activeElement.className") == "skip"
    assert specimen.evaluate("document.activeElement.getBoundingClientRect().top") >= 0
    specimen.keyboard.press("Enter")
    assert specimen.evaluate("document.activeElement.id") == "content"


def test_nothing_moves_for_who_asks_for_stillness(specimen: Page) -> None:
    """SC 2.3.3 and 2.2.2: with less motion asked for, the mark of work under way stands still."""
    specimen.emulate_media(reduced_motion="reduce")

    seconds_s = specimen.evaluate(
        "parseFloat(getComputedStyle(document.querySelector('.working'), '::before').animationDuration)"
    )
    assert seconds_s < 0.001


def test_a_stage_is_told_by_mark_and_word(specimen: Page) -> None:
    now = specimen.locator(".stages li[aria-current=step]")

    assert now.inner_text().split() == ["Now:", "On", "the", "desk"]
    assert specimen.locator(".stages li.done").first.inner_text().startswith("Waiting for files")
