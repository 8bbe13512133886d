"""Quote to acceptance through a whole demo house: real processes, a real browser, sound from our own band. Every page
on the way is held against WCAG 2.2 AA."""

from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from tests.flows.accessible import Faults
from tests.flows.course import Material, walk
from tests.flows.people import windows
from tests.houses import demo, needs_proc

if TYPE_CHECKING:
    from playwright.sync_api import Browser


@needs_proc
@pytest.mark.browser
def test_a_booking_goes_from_quote_to_acceptance(chromium: "Browser", house_dir: Path, material: Material) -> None:
    faults = Faults()
    with demo(house_dir) as (_, house), windows(chromium) as new_window:
        walk(new_window, house, material, client_email="mirela@kitpost.example", look=faults.look)
    assert not faults.grave, "\n".join(faults.grave)
