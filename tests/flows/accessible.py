"""Pages held against WCAG 2.2 AA by axe-core, an open rule engine (MPL-2.0), in the browser that shows them."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

from django.conf import settings
from playwright.sync_api import Page

RULES = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]
GRAVE = ("serious", "critical")
WIDTHS_PX = (1440, 390)
ENGINE = Path(settings.BASE_DIR, "node_modules", "axe-core", "axe.min.js")
RUN = "rules => axe.run(document, { runOnly: rules, resultTypes: ['violations'] })"
# Files, parts of pages, and what signs the reader out are no pages of their own.
NO_PAGE = re.compile(
    r"^/(prepared|files|delivery-files|static|tus|sign-out)/|\.(json|zip|wav|mid)$|/(audio|zip|parts?)/$"
)


@dataclass
class Faults:
    """What was found on the pages looked at so far, and which those were."""

    looked_at: list[str] = field(default_factory=list)
    grave: list[str] = field(default_factory=list)
    slight: list[str] = field(default_factory=list)

    def look(self, page: Page, name: str) -> None:
        """Scan the page as it stands, wide and narrow; the window is left as it was."""
        size = page.viewport_size
        for width in WIDTHS_PX:
            page.set_viewport_size({"width": width, "height": 900})
            for fault in faults_of(page):
                places = "; ".join(str(node["target"]) for node in fault["nodes"][:3])
                words = f"{name} at {width} px: {fault['id']} ({fault['impact']}), {fault['help']}: {places}"
                (self.grave if fault["impact"] in GRAVE else self.slight).append(words)
        if size:
            page.set_viewport_size(size)
        self.looked_at.append(name)


def faults_of(page: Page) -> list[dict[str, Any]]:
    if not page.evaluate("'axe' in window"):
        page.evaluate(ENGINE.read_text())
    found: list[dict[str, Any]] = page.evaluate(RUN, RULES)["violations"]
    return found


def every_page(page: Page, start: str, look: Callable[[Page, str], None], *, most: int = 40) -> None:
    """Follow the links from `start` on through the house, one page of each kind, and look at each."""
    waiting, seen = [start], set[str]()
    while waiting and len(seen) < most:
        address = waiting.pop(0)
        kind = re.sub(r"\d+|[0-9a-f-]{36}", "N", urlsplit(address).path)
        if kind in seen:
            continue
        seen.add(kind)
        page.goto(address)
        page.wait_for_load_state("networkidle")
        page.wait_for_function("!document.querySelector('[data-lanes]:not([data-state])')")
        look(page, kind)
        links = page.eval_on_selector_all("main a[href], header a[href]", "all => all.map(one => one.href)")
        same_house = [link for link in links if link.startswith(start.rsplit("/", 2)[0])]
        waiting += [link for link in same_house if not NO_PAGE.search(urlsplit(link).path)]
