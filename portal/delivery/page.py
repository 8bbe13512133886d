"""Everything that a delivery's page shows one reader."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from analysis.handover import in_print, rank_of
from portal.delivery.changes import Changes, changes_of
from portal.delivery.check_titles import PassedLine, passed_lines, title_of
from portal.delivery.forms import ReleaseForm, ShareForm, SheetForm, TrackForms, WaiveForm
from portal.delivery.links import page_of
from portal.delivery.models import (
    Delivery,
    DeliveryFile,
    Receipt,
    SetRepair,
    ShareLink,
    Waiver,
    is_undecided,
    key_of,
)
from portal.delivery.repairs.offers import Offer, offers_of
from portal.mailroom.links import absolute
from portal.people.models import User
from portal.takes.models import RoughMix


@dataclass(frozen=True)
class CheckShown:
    """One check in words. `waiver` is why a failed one may pass, `form` where one that blocks is waived. What is
    `undecided` has not failed, and assures of nothing."""

    title: str
    passed: bool
    message: str
    undecided: bool
    waiver: Waiver | None = None
    form: WaiveForm | None = None

    @property
    def blocks(self) -> bool:
        return not self.passed and self.waiver is None


@dataclass(frozen=True)
class LinkShown:
    """A link with its address, as long as it is open."""

    link: ShareLink
    address: str


@dataclass(frozen=True)
class DeliveryPage:
    """What is read once from the rows; the rest follows from it."""

    delivery: Delivery
    user: User
    can_edit: bool
    files: tuple[DeliveryFile, ...]
    # Earlier versions, as long as the set is not released.
    replaced: tuple[DeliveryFile, ...]
    checks: tuple[CheckShown, ...]
    # What may be corrected without a change to the sound, and the correction that was asked for last.
    offers: tuple[Offer, ...]
    repair: SetRepair | None
    # Against what the client was given before; None for the first delivery.
    changes: Changes | None
    # What can be heard while the files are held.
    preview: RoughMix | None
    can_accept: bool
    share_links: tuple[LinkShown, ...]
    receipts: tuple[Receipt, ...]
    share_form: ShareForm
    release_form: ReleaseForm
    sheet_form: SheetForm
    track_forms: Any

    @property
    def is_checking(self) -> bool:
        return self.delivery.state == Delivery.State.CHECKING

    @property
    def is_repairing(self) -> bool:
        return self.repair is not None and self.repair.state == SetRepair.State.MAKING

    @property
    def corrections(self) -> tuple[str, ...]:
        return tuple(line for file in self.files for line in file.corrections)

    @property
    def waived(self) -> tuple[CheckShown, ...]:
        """Failed checks that the drummer waived, for both sides."""
        return tuple(check for check in self.checks if check.waiver)

    @property
    def failed(self) -> tuple[CheckShown, ...]:
        return tuple(check for check in self.checks if not check.passed) if self.user.is_drummer else ()

    @property
    def undecided(self) -> tuple[CheckShown, ...]:
        """What was checked and could not be decided, for both sides."""
        return tuple(check for check in self.checks if check.undecided)

    @property
    def passed_count(self) -> int:
        return sum(check.passed and not check.undecided for check in self.checks)

    @property
    def passed(self) -> list[PassedLine]:
        return passed_lines(self.delivery.checks, [file.name for file in self.files])

    @property
    def blocks(self) -> int:
        return sum(check.blocks for check in self.failed)

    @property
    def size_bytes(self) -> int:
        return sum(file.size_bytes for file in self.files)

    @property
    def can_release(self) -> bool:
        is_checked = self.delivery.state == Delivery.State.CHECKED
        return self.can_edit and is_checked and not self.blocks and not self.is_repairing

    @property
    def can_download(self) -> bool:
        return self.user.is_drummer or not self.waits_for_balance

    @property
    def has_zip(self) -> bool:
        return bool(self.files) and all(file.crc32 is not None for file in self.files)

    @property
    def waits_for_balance(self) -> bool:
        return self.delivery.song.booking.files_wait_for_balance

    @property
    def balance_is_open(self) -> bool:
        """It is not recorded, and nothing waits for it."""
        return not self.waits_for_balance and self.delivery.song.booking.balance_received_at is None

    @property
    def can_share(self) -> bool:
        return not self.delivery.is_open


def delivery_page(delivery: Delivery, user: User, *, waive_form: WaiveForm | None = None, **typed: Any) -> DeliveryPage:
    """`typed`: forms that were sent and are shown again, by their names on the page."""
    files, can_edit = tuple(delivery.files.current()), _can_edit(delivery, user)
    repair = _last_repair(delivery) if can_edit else None
    return DeliveryPage(
        delivery=delivery,
        user=user,
        can_edit=can_edit,
        files=files,
        replaced=tuple(delivery.files.exclude(replaced_at=None)) if can_edit else (),
        checks=_checks(delivery, files, waive_form),
        offers=_offers(delivery, files, repair) if can_edit else (),
        repair=repair,
        changes=changes_of(delivery),
        preview=_preview(delivery, user),
        can_accept=_can_accept(delivery, user),
        share_links=tuple(_link_shown(link) for link in delivery.share_links.select_related("made_by")),
        receipts=tuple(delivery.receipts.select_related("file", "user", "link")),
        **(_fresh_forms(delivery, can_edit=can_edit) | typed),
    )


def _can_edit(delivery: Delivery, user: User) -> bool:
    return user.is_drummer and delivery.is_open and not delivery.song.booking.is_over


def _fresh_forms(delivery: Delivery, *, can_edit: bool) -> dict[str, Any]:
    return {
        "share_form": ShareForm(),
        "release_form": ReleaseForm(instance=delivery),
        "sheet_form": SheetForm(instance=delivery),
        "track_forms": TrackForms(queryset=delivery.files.current(), prefix="tracks") if can_edit else None,
    }


def _offers(delivery: Delivery, files: tuple[DeliveryFile, ...], repair: SetRepair | None) -> tuple[Offer, ...]:
    is_repairing = repair is not None and repair.state == SetRepair.State.MAKING
    return offers_of(delivery, files) if delivery.state == Delivery.State.CHECKED and not is_repairing else ()


def _last_repair(delivery: Delivery) -> SetRepair | None:
    """The correction that was asked for last; what became of it is old news once the set is checked again."""
    repair, checked_at = delivery.repairs.last(), delivery.check_asked_at
    return repair if repair and (checked_at is None or repair.asked_at >= checked_at) else None


def _link_shown(link: ShareLink) -> LinkShown:
    return LinkShown(link, absolute(page_of(link)) if link.is_open else "")


def accepted_mix(delivery: Delivery) -> RoughMix | None:
    """What the client accepted, as it can be played."""
    accepted = delivery.song.rough_mixes.filter(state=RoughMix.State.ACCEPTED).exclude(proxy_key="")
    return accepted.select_related("take").first()


def _preview(delivery: Delivery, user: User) -> RoughMix | None:
    is_held = delivery.song.booking.files_wait_for_balance and not user.is_drummer
    return accepted_mix(delivery) if is_held else None


def _can_accept(delivery: Delivery, user: User) -> bool:
    if user.is_drummer or delivery.state != Delivery.State.RELEASED:
        return False
    booking = delivery.song.booking
    newer = delivery.song.deliveries.filter(number__gt=delivery.number, state__in=Delivery.SEEN_BY_CLIENT)
    return not (booking.files_wait_for_balance or booking.is_over or newer.exists())


def _checks(delivery: Delivery, files: tuple[DeliveryFile, ...], typed: WaiveForm | None) -> tuple[CheckShown, ...]:
    waivers = {(waiver.code, waiver.file_name): waiver for waiver in delivery.waivers.all()}
    names = [file.name for file in files]
    ranked = sorted(delivery.checks, key=lambda check: rank_of(check["code"]))
    return tuple(_shown(check, names, waivers.get(key_of(check)), typed) for check in ranked)


def _shown(check: dict[str, Any], names: list[str], waiver: Waiver | None, typed: WaiveForm | None) -> CheckShown:
    code, file_name = key_of(check)
    form = None
    if not check["passed"] and waiver is None:
        is_this = typed is not None and (typed.data.get("code"), typed.data.get("file_name")) == (code, file_name)
        form = typed if is_this else WaiveForm(initial={"code": code, "file_name": file_name})
    words = in_print(check["message"], names)
    return CheckShown(title_of(code), check["passed"], words, is_undecided(check), waiver, form)
