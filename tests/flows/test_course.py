"""Quote to acceptance through a whole demo house: real processes, a real browser, sound from our own band. Every page
on the way is held against WCAG 2.2 AA."""

from typing import TYPE_CHECKING

import pytest

from tests.flows.accessible import Faults
from tests.flows.course import Material, walk
from tests.flows.people import windows
from tests.houses import OpenHouse, needs_proc

if TYPE_CHECKING:
    from playwright.sync_api import Browser


@needs_proc
@pytest.mark.browser
def test_a_booking_goes_from_quote_to_acceptance(
    chromium: "Browser", quiet_house: OpenHouse, material: Material
) -> None:
    faults = Faults()
    with windows(chromium) as new_window:
        walk(new_window, quiet_house.said, material, client_email="mirela@kitpost.example", look=faults.look)
    assert not faults.grave, "\n".join(faults.grave)
