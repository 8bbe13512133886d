"""The time zones a person may choose, grouped by region as they are named in the IANA database."""

import zoneinfo
from functools import cache
from itertools import groupby

# The database also lists old names, offsets and links ("EST5EDT", "Etc/GMT+3"); these regions are where people live.
REGIONS = ("Africa", "America", "Antarctica", "Arctic", "Asia", "Atlantic", "Australia", "Europe", "Indian", "Pacific")

Choices = list[tuple[str, str | list[tuple[str, str]]]]


@cache
def time_zone_choices() -> Choices:
    names = sorted(name for name in zoneinfo.available_timezones() if name.partition("/")[0] in REGIONS and "/" in name)
    choices: Choices = [("UTC", "UTC")]
    for region, members in groupby(names, key=lambda name: name.partition("/")[0]):
        choices.append((region, [(name, place_of(name)) for name in members]))
    return choices


def place_of(name: str) -> str:
    """America/Argentina/Buenos_Aires is "Buenos Aires, Argentina"."""
    _, *country, place = name.replace("_", " ").split("/")
    return ", ".join([place, *country])


def zone_in_words(name: str) -> str:
    """How a zone is named beside a time: "Seoul time", "UTC"."""
    return f"{place_of(name).partition(',')[0]} time" if "/" in name else name
