"""A person at a keyboard who has no mouse, and who is lost where the focus cannot be seen."""

from __future__ import annotations

import re
from typing import Any

from playwright.sync_api import Page, expect

MOST_TABS = 250
FOCUSED = """() => {
  const one = document.activeElement;
  if (!one || one === document.body) return null;
  const [box, style] = [one.getBoundingClientRect(), getComputedStyle(one)];
  const isRinged = (style.outlineStyle !== 'none' && parseFloat(style.outlineWidth) > 0) || style.boxShadow !== 'none';
  const isInView = box.bottom > 0 && box.right > 0 && box.top < innerHeight && box.left < innerWidth;
  const said = one.getAttribute('aria-label') || one.labels?.[0]?.innerText || one.innerText || one.name || '';
  one.dataset.seen = Number(one.dataset.seen || 0) + 1;
  const times = Number(one.dataset.seen);
  return { tag: one.tagName.toLowerCase(), said: said.replace(/\\s+/g, ' ').trim(), isRinged, isInView, times };
}"""

FROM_THE_TOP = """() => {
  for (const one of document.querySelectorAll('[data-seen]')) delete one.dataset.seen;
  document.activeElement.blur();
  scrollTo(0, 0);
}"""
IN_TIME = """({ letter, everyMs }) => {
  let atMs = performance.now();
  const tell = (event) => {
    if (event.key === letter) Object.defineProperty(event, 'timeStamp', { value: (atMs += everyMs) });
  };
  addEventListener('keydown', tell, true);
}"""
# Controls in sight that had no focus; of the choices of one question the browser gives it to one alone.
MISSED = """() => [...document.querySelectorAll('a[href], button, input, select, textarea, summary, [tabindex="0"]')]
  .filter((one) => one.checkVisibility() && !one.disabled && one.type !== 'hidden' && one.type !== 'radio')
  .filter((one) => !one.dataset.seen && !one.closest('[inert]'))
  .map((one) => one.outerHTML.slice(0, 120))"""


class Keyboard:
    """`strokes` counts every key that was pressed; a typed word counts each letter."""

    def __init__(self, page: Page) -> None:
        self.page, self.strokes = page, 0

    def press(self, key: str, times: int = 1) -> None:
        """Once the page's scripts listen: a person looks before pressing."""
        for _ in range(times):
            self.page.wait_for_load_state("domcontentloaded")
            self.page.keyboard.press(key)
            self.strokes += 1

    def beat(self, letter: str, times: int, *, every_s: float) -> None:
        """In time, however busy the machine is: the page is told so of each press."""
        self.page.evaluate(IN_TIME, {"letter": letter, "everyMs": 1000 * every_s})
        self.press(letter, times)

    def type(self, words: str) -> None:
        """Into the field that has the focus, in place of what stands there."""
        self.press("Control+a")
        self.page.keyboard.type(words)
        self.strokes += len(words)

    def tab(self) -> dict[str, Any] | None:
        """On to the next control; None where the page's controls are at an end."""
        self.press("Tab")
        focused: dict[str, Any] | None = self.page.evaluate(FOCUSED)
        if focused:
            assert focused["isRinged"], f"no ring around {focused}"
            assert focused["isInView"], f"out of sight: {focused}"
        return focused

    def tab_to(self, words: str, tag: str = "") -> None:
        """On to the control that is called so; the way round the page is gone once at the most."""
        for _ in range(MOST_TABS):
            focused = self.tab()
            if focused and re.search(words, focused["said"]) and tag in ("", focused["tag"]):
                return
        raise AssertionError(f"no way by Tab to {words!r} on {self.page.url}")

    def row(self, words: str) -> None:
        """Down the rows of a list to the one that is called so."""
        for _ in range(MOST_TABS):
            self.press("ArrowDown")
            if words in str(self.page.evaluate("document.activeElement.innerText")):
                return
        raise AssertionError(f"no row {words!r} on {self.page.url}")

    def walk(self) -> int:
        """Every control from the top of the page to its end, each once; how many there are."""
        self.page.evaluate(FROM_THE_TOP)
        for passed in range(MOST_TABS):
            focused = self.tab()
            if focused is None:
                missed = self.page.evaluate(MISSED)
                assert not missed, f"never reached on {self.page.url}: {missed}"
                return passed
            assert focused["times"] == 1, f"the way leads back to {focused}"
        raise AssertionError(f"the way through {self.page.url} has no end")

    def opens(self, key: str, address: str) -> None:
        """A key that leads to another page."""
        self.press(key)
        expect(self.page).to_have_url(re.compile(address))
        self.page.wait_for_load_state("networkidle")
