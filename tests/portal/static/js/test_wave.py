"""The picture of a sound: drawn, placed, moved by keys, buttons and presses, and gone without trace."""

from typing import Any

import pytest
from playwright.sync_api import Page

from tests.portal.static.conftest import Show

pytestmark = pytest.mark.browser

WAVE = (
    '<figure class="wave" data-wave data-wave-src="wave.json" data-wave-label="keys.wav"><p>bar 2: clipped</p></figure>'
)
# 8 s of full-scale sound in its second half, a bar of 2 s from the start.
SOUND: dict[str, Any] = {
    "duration_s": 8,
    "channels": 1,
    "levels": [{"frames_per_point": 100, "min": [0] * 400 + [-1] * 400, "max": [0] * 400 + [1] * 400}],
    "marks": [{"time_s": 2.0, "end_s": 2.5, "label": "Clipped peaks", "severity": "stop"}],
    "grid": {"bars": [{"bar": 1 + index, "time_s": 2.0 * index, "beats": 4} for index in range(4)]},
}
COUNT_WAVE = """(share) => {
  const canvas = document.querySelector('.wave canvas');
  const ratio = devicePixelRatio, at = Math.round(share * canvas.width);
  const wanted = getComputedStyle(canvas).getPropertyValue('--wave').trim();
  const column = canvas.getContext('2d').getImageData(at, 0, 1, canvas.height).data;
  let count = 0;
  for (let i = 0; i < column.length; i += 4) {
    const hex = '#' + [...column.slice(i, i + 3)].map((c) => c.toString(16).padStart(2, '0')).join('');
    if (hex === wanted) count += 1 / ratio;
  }
  return count;
}"""


@pytest.fixture
def drawn(page: Page, show: Show) -> Page:
    show(WAVE, **{"wave.json": SOUND})
    page.locator(".wave canvas").wait_for()
    page.evaluate(
        "() => { window.seeks = []; addEventListener('wave:seek', (event) => seeks.push(event.detail.timeS)); }"
    )
    return page


def test_loud_stretches_are_tall_and_silent_ones_a_line(drawn: Page) -> None:
    assert drawn.evaluate(COUNT_WAVE, 0.1) <= 2
    assert drawn.evaluate(COUNT_WAVE, 0.9) >= 100


def test_a_press_seeks_to_the_moment_under_it(drawn: Page) -> None:
    box = drawn.locator(".wave canvas").bounding_box()
    assert box is not None

    drawn.mouse.click(box["x"] + box["width"] / 4, box["y"] + 80)

    assert drawn.evaluate("seeks") == [pytest.approx(2.0, abs=8 / box["width"])]
    assert "bar 2, beat 1" in drawn.locator(".wave .where").inner_text()


def test_a_drag_moves_and_does_not_seek(drawn: Page) -> None:
    drawn.get_by_role("button", name="Closer").click()
    box = drawn.locator(".wave canvas").bounding_box()
    assert box is not None
    drawn.mouse.move(box["x"] + 900, box["y"] + 80)
    drawn.mouse.down()
    drawn.mouse.move(box["x"] + 100, box["y"] + 80, steps=5)
    drawn.mouse.up()

    assert drawn.evaluate("seeks") == []
    assert drawn.evaluate(COUNT_WAVE, 0.1) >= 100


def test_keys_work_on_the_picture_alone(drawn: Page) -> None:
    drawn.keyboard.press("n")
    assert "Clipped" not in drawn.locator(".wave .where").inner_text()

    drawn.locator(".wave canvas").focus()
    drawn.keyboard.press("n")
    assert drawn.locator(".wave .where").inner_text() == "Clipped peaks · bar 2, beat 1 · 0:02.0"

    for key in ("+", "+", "ArrowRight", "ArrowRight", "ArrowRight", "ArrowRight", "ArrowRight", "ArrowRight"):
        drawn.keyboard.press(key)
    assert drawn.evaluate(COUNT_WAVE, 0.9) >= 100
    drawn.keyboard.press("Home")
    assert drawn.evaluate(COUNT_WAVE, 0.1) <= 2


def test_the_text_beside_the_picture_stays(drawn: Page) -> None:
    assert drawn.get_by_text("bar 2: clipped").is_visible()


def test_a_head_follows_the_player(drawn: Page) -> None:
    at_head = "() => document.querySelector('.wave canvas').getContext('2d').getImageData(%s, 60, 1, 1).data.join()"
    middle = "Math.round(document.querySelector('.wave canvas').width * 0.125)"
    before = drawn.evaluate(at_head % middle)

    drawn.evaluate(
        "document.querySelector('.wave').dispatchEvent(new CustomEvent('player:time', {detail: {timeS: 1}}))"
    )

    assert drawn.evaluate(at_head % middle) != before


def test_removal_undoes_the_drawing(drawn: Page) -> None:
    drawn.evaluate("() => { window.figure = document.querySelector('.wave'); figure.remove(); }")

    drawn.wait_for_function("() => !figure.querySelector('canvas') && !figure.querySelector('.wave-bar')")


def test_it_grows_and_shrinks_with_the_page(drawn: Page) -> None:
    drawn.set_viewport_size({"width": 390, "height": 800})

    drawn.wait_for_function(
        "() => { const c = document.querySelector('.wave canvas'); return c.width === c.parentElement.clientWidth; }"
    )


def test_a_picture_that_cannot_be_had_leaves_the_text(page: Page, show: Show) -> None:
    show(WAVE)

    page.locator(".wave[data-state=failed]").wait_for()
    assert page.get_by_text("bar 2: clipped").is_visible()
