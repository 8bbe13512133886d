"""Everything that the page of a delivery's sheet shows one reader."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from analysis.delivery import Check
from analysis.handover import Sheet, channel_words, figure_of, in_print, rank_of, tempo_lines
from analysis.maps import TempoMap
from portal.delivery.check_titles import PassedLine, passed_lines, title_of
from portal.delivery.forms import PhotoForm
from portal.delivery.models import Delivery, KitPhoto
from portal.delivery.sheet.data import sheet_of
from portal.delivery.sheet.papers import photo_names
from portal.delivery.sheet.photos import MOST_PHOTOS
from portal.people.models import User


@dataclass(frozen=True)
class OpenLine:
    """A check that failed, or that could not be decided."""

    check: Check
    title: str
    words: str
    figure: str
    # Why a failed one was waived, and by whom.
    waived: str


@dataclass(frozen=True)
class SheetPage:
    delivery: Delivery
    user: User
    sheet: Sheet
    open_checks: tuple[OpenLine, ...]
    passed_checks: tuple[PassedLine, ...]
    tempo: tuple[str, ...]
    photos: tuple[KitPhoto, ...]
    can_edit: bool
    photo_form: PhotoForm

    @property
    def tracks(self) -> list[tuple[object, str]]:
        return [
            (track, ", ".join(filter(None, (track.channel, channel_words(track.channels)))))
            for track in self.sheet.tracks
        ]

    @property
    def passed_count(self) -> int:
        return len(self.sheet.checks) - len(self.open_checks)

    @property
    def can_add_photo(self) -> bool:
        return self.can_edit and len(self.photos) < MOST_PHOTOS


def sheet_page(delivery: Delivery, user: User) -> SheetPage:
    files, photos = list(delivery.files.current().select_related("sent_by")), list(delivery.photos.all())
    sheet = sheet_of(delivery, files, photo_names(photos))
    rates_hz = {track.sample_rate_hz for track in sheet.tracks if track.sample_rate_hz}
    return SheetPage(
        delivery=delivery,
        user=user,
        sheet=sheet,
        open_checks=tuple(_open_lines(sheet)),
        passed_checks=tuple(passed_lines(delivery.checks, [file.name for file in files])),
        tempo=tuple(tempo_lines(TempoMap.from_json(sheet.map), rates_hz)) if sheet.map else (),
        photos=tuple(photos),
        can_edit=user.is_drummer and delivery.is_open and not delivery.song.booking.is_over,
        photo_form=PhotoForm(),
    )


def _open_lines(sheet: Sheet) -> Iterator[OpenLine]:
    """Failures first."""
    names = [track.file for track in sheet.tracks]
    reasons = {(one.code, one.file): f"{one.by}: {one.reason}" for one in sheet.let_pass}
    for check in sorted(sheet.checks, key=lambda check: (check.passed, rank_of(check.code))):
        if check.undecided or not check.passed:
            waived = "" if check.passed else reasons.get((check.code, check.file), "")
            yield OpenLine(check, title_of(check.code), in_print(check.message, names), figure_of(check), waived)
