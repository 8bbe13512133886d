"""Everything that the page of a delivery's sheet shows one reader."""

from __future__ import annotations

from dataclasses import dataclass

from analysis.delivery import Check
from analysis.handover import Sheet, channel_words, figure_of, tempo_lines
from analysis.maps import TempoMap
from portal.delivery.check_titles import CHECK_TITLES
from portal.delivery.forms import PhotoForm
from portal.delivery.models import Delivery, KitPhoto
from portal.delivery.sheet.data import sheet_of
from portal.delivery.sheet.papers import photo_names
from portal.delivery.sheet.photos import MOST_PHOTOS
from portal.people.models import User


@dataclass(frozen=True)
class CheckLine:
    check: Check
    title: str
    figure: str
    # Why a failed one was let pass, and by whom.
    let_pass: str

    @property
    def is_passed(self) -> bool:
        return self.check.passed and not self.check.undecided


@dataclass(frozen=True)
class SheetPage:
    delivery: Delivery
    user: User
    sheet: Sheet
    checks: tuple[CheckLine, ...]
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
    def open_checks(self) -> list[CheckLine]:
        """What failed, and what could not be checked."""
        return [line for line in self.checks if not line.is_passed]

    @property
    def passed_checks(self) -> list[CheckLine]:
        return [line for line in self.checks if line.is_passed]

    @property
    def can_add_photo(self) -> bool:
        return self.can_edit and len(self.photos) < MOST_PHOTOS


def sheet_page(delivery: Delivery, user: User) -> SheetPage:
    files, photos = list(delivery.files.current().select_related("sent_by")), list(delivery.photos.all())
    sheet = sheet_of(delivery, files, photo_names(photos))
    reasons = {(one.code, one.file): f"{one.by}: {one.reason}" for one in sheet.let_pass}
    checks = sorted(sheet.checks, key=lambda check: (check.passed, not check.undecided))
    rates_hz = {track.sample_rate_hz for track in sheet.tracks if track.sample_rate_hz}
    return SheetPage(
        delivery=delivery,
        user=user,
        sheet=sheet,
        checks=tuple(
            CheckLine(
                check,
                CHECK_TITLES.get(check.code, check.code),
                figure_of(check),
                "" if check.passed else reasons.get((check.code, check.file), ""),
            )
            for check in checks
        ),
        tempo=tuple(tempo_lines(TempoMap.from_json(sheet.map), rates_hz)) if sheet.map else (),
        photos=tuple(photos),
        can_edit=user.is_drummer and delivery.is_open and not delivery.song.booking.is_over,
        photo_form=PhotoForm(),
    )
