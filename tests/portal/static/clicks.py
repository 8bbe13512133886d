"""The click's sounds as a house answers with them, for pages without one: `show("", **CLICKS)`."""

from analysis.maps.click_style import ClickStyle
from portal.lanes.clicks import click_bytes

RATE_HZ = 48_000
ADDRESS = "/clicks/?sound=sine"


def clicks_with(style: ClickStyle) -> dict[str, bytes]:
    return {f"{ADDRESS[1:]}&rate={RATE_HZ}": click_bytes(style, RATE_HZ)}


CLICKS = clicks_with(ClickStyle())
