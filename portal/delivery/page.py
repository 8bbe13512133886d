"""Everything that a delivery's page shows one reader."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from portal.delivery.changes import Changes, changes_of
from portal.delivery.check_titles import CHECK_TITLES
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
    """One check in words. `waiver` is why a failed one may pass, `form` where one that blocks is let pass. What is
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
    delivery: Delivery
    user: User
    files: tuple[DeliveryFile, ...]
    # Earlier versions, as long as the set is not released.
    replaced: tuple[DeliveryFile, ...]
    # What may be corrected without a change to the sound, and the correction that was asked for last.
    offers: tuple[Offer, ...]
    repair: SetRepair | None
    # Failed checks that the drummer let pass, for both sides.
    let_pass: tuple[CheckShown, ...]
    failed: tuple[CheckShown, ...]
    # What could not be checked, for both sides.
    undecided: tuple[CheckShown, ...]
    passed: tuple[CheckShown, ...]
    blocks: int
    size_bytes: int
    can_edit: bool
    can_release: bool
    can_accept: bool
    can_download: bool
    has_zip: bool
    waits_for_balance: bool
    # It is not recorded, and nothing waits for it.
    balance_is_open: bool
    # Against what the client was given before; None for the first delivery.
    changes: Changes | None
    # What can be heard while the files are held.
    preview: RoughMix | None
    share_links: tuple[LinkShown, ...]
    can_share: bool
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


def delivery_page(
    delivery: Delivery,
    user: User,
    *,
    waive_form: WaiveForm | None = None,
    release_form: ReleaseForm | None = None,
    sheet_form: SheetForm | None = None,
    track_forms: Any = None,
    share_form: ShareForm | None = None,
) -> DeliveryPage:
    files = tuple(delivery.files.current())
    checks = _checks(delivery, waive_form)
    shown = checks if user.is_drummer else []
    booking = delivery.song.booking
    waits = booking.files_wait_for_balance
    can_edit = user.is_drummer and delivery.is_open and not booking.is_over
    blocks = sum(check.blocks for check in shown)
    is_checked = delivery.state == Delivery.State.CHECKED
    repair = _last_repair(delivery) if can_edit else None
    is_repairing = repair is not None and repair.state == SetRepair.State.MAKING
    return DeliveryPage(
        delivery=delivery,
        user=user,
        files=files,
        replaced=tuple(delivery.files.exclude(replaced_at=None)) if can_edit else (),
        offers=offers_of(delivery, files) if can_edit and is_checked and not is_repairing else (),
        repair=repair,
        let_pass=tuple(check for check in checks if check.waiver),
        failed=tuple(check for check in shown if not check.passed),
        undecided=tuple(check for check in checks if check.undecided),
        passed=tuple(check for check in shown if check.passed and not check.undecided),
        blocks=blocks,
        size_bytes=sum(file.size_bytes for file in files),
        can_edit=can_edit,
        can_release=can_edit and is_checked and not blocks and not is_repairing,
        can_accept=_can_accept(delivery, user),
        can_download=user.is_drummer or not waits,
        has_zip=bool(files) and all(file.crc32 is not None for file in files),
        waits_for_balance=waits,
        balance_is_open=not waits and booking.balance_received_at is None,
        changes=changes_of(delivery),
        preview=accepted_mix(delivery) if waits and not user.is_drummer else None,
        share_links=tuple(_link_shown(link) for link in delivery.share_links.select_related("made_by")),
        can_share=not delivery.is_open,
        receipts=tuple(delivery.receipts.select_related("file", "user", "link")),
        share_form=share_form or ShareForm(),
        release_form=release_form or ReleaseForm(instance=delivery),
        sheet_form=sheet_form or SheetForm(instance=delivery),
        track_forms=_track_forms(delivery, track_forms) if can_edit else None,
    )


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


def _track_forms(delivery: Delivery, typed: Any) -> Any:
    return TrackForms(queryset=delivery.files.current(), prefix="tracks") if typed is None else typed


def _can_accept(delivery: Delivery, user: User) -> bool:
    if user.is_drummer or delivery.state != Delivery.State.RELEASED:
        return False
    booking = delivery.song.booking
    newer = delivery.song.deliveries.filter(number__gt=delivery.number, state__in=Delivery.SEEN_BY_CLIENT)
    return not (booking.files_wait_for_balance or booking.is_over or newer.exists())


def _checks(delivery: Delivery, typed: WaiveForm | None) -> list[CheckShown]:
    waivers = {(waiver.code, waiver.file_name): waiver for waiver in delivery.waivers.all()}
    return [_shown(check, waivers.get(key_of(check)), typed) for check in delivery.checks]


def _shown(check: dict[str, Any], waiver: Waiver | None, typed: WaiveForm | None) -> CheckShown:
    code, file_name = key_of(check)
    form = None
    if not check["passed"] and waiver is None:
        is_this = typed is not None and (typed.data.get("code"), typed.data.get("file_name")) == (code, file_name)
        form = typed if is_this else WaiveForm(initial={"code": code, "file_name": file_name})
    return CheckShown(
        CHECK_TITLES.get(code, code), check["passed"], check["message"], is_undecided(check), waiver, form
    )
