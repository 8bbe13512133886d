"""When two file names are the same: file systems differ on case and Unicode form, so a set holds neither pair."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from pathlib import PurePath

from analysis.delivery import LABELS, label_of
from portal.delivery.models import Delivery, DeliveryFile
from portal.folding import fold as fold_text
from portal.people.models import House
from portal.titles import plain_title

TEXT_NAME = "delivery-sheet.txt"
HASHES_NAME = "sha256.txt"
PDF_NAME = "delivery-sheet.pdf"
SHEET_NAME = "sheet.json"
PHOTO_NAME = "kit-{number}.jpg"
RESERVED_NAMES = (TEXT_NAME, HASHES_NAME, PDF_NAME, SHEET_NAME, "kit-1.jpg", "kit-2.jpg")


def fold(name: str) -> str:
    return fold_text(name)[:255]


def channels_of(files: Iterable[DeliveryFile]) -> dict[str, str]:
    """By file name: what the drummer said of those whose name does not say it."""
    return {file.name: file.channel for file in files if file.channel}


def channel_of(file: DeliveryFile) -> str:
    """By its code: what the drummer said, else what its name says; empty where neither does."""
    return file.channel or label_of(PurePath(file.name).stem)


def channel_said(file: DeliveryFile) -> str:
    """As words."""
    return LABELS.get(channel_of(file), "")


def house_names(delivery: Delivery, files: Iterable[DeliveryFile]) -> dict[str, str]:
    """By file name: the name that the house's pattern gives it, where that is another. Files of which it is not known
    what they hold keep theirs, and so do two that would get one name."""
    pattern = House.get().track_names
    channels = {file.name: channel_of(file) for file in files} if pattern else {}
    order = {channel: place for place, channel in enumerate(LABELS)}
    known = sorted((name for name in channels if channels[name]), key=lambda name: (order[channels[name]], name))
    song = plain_title(delivery.song.title)
    new = {
        name: pattern.format(song=song, number=number, label=channels[name]) + PurePath(name).suffix.lower()
        for number, name in enumerate(known, start=1)
    }
    taken = Counter(fold(new.get(name, name)) for name in channels)
    return {old: name for old, name in new.items() if name != old and taken[fold(name)] == 1}
