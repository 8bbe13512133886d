"""Walk the course through a running house and keep a picture of every page: for a look with one's own eyes.

usage: python -m tests.flows HOUSE.json FOLDER [STEM ...]

HOUSE.json holds the line that `manage.py demo --json` printed. STEMs are sent in place of the band's.
"""

import json
import sys
import tempfile
import time
from dataclasses import replace
from pathlib import Path

from playwright.sync_api import Page, sync_playwright

from tests.conftest import CHROMIUM_FLAGS, chromium_program
from tests.flows.course import walk
from tests.flows.material import make_material
from tests.flows.people import windows

SIZES = ((1440, 900), (390, 844))


def main(house_file: str, folder: str, *stems: str) -> None:
    house, out = json.loads(Path(house_file).read_text()), Path(folder)
    out.mkdir(parents=True, exist_ok=True)
    taken: list[str] = []

    def look(page: Page, name: str) -> None:
        taken.append(name)
        for width, height in SIZES:
            page.set_viewport_size({"width": width, "height": height})
            page.screenshot(path=out / f"{len(taken):02}-{name}-{width}.png", full_page=True)
        page.set_viewport_size({"width": SIZES[0][0], "height": SIZES[0][1]})

    program = chromium_program()
    with tempfile.TemporaryDirectory() as made, sync_playwright() as playwright:
        material = make_material(Path(made))
        # Walked again through the same house, the song has a name of its own.
        material = replace(material, title=f"{material.title} {int(time.time()) % 10_000}")
        if stems:
            material = replace(material, stems=[Path(stem) for stem in stems])
        browser = playwright.chromium.launch(executable_path=program, args=CHROMIUM_FLAGS)
        started = time.monotonic()
        email = f"mirela-{int(time.time())}@kitpost.example"
        with windows(browser) as new_window:
            walk(new_window, house, material, client_email=email, look=look)
        print(f"walked the whole course in {time.monotonic() - started:.0f} s, {len(taken)} looks in {out}")


if __name__ == "__main__":
    main(*sys.argv[1:])
