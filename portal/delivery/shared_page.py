"""What somebody with a link sees of one set: its files, and nothing else of the booking."""

from __future__ import annotations

from dataclasses import dataclass

from portal.delivery import links
from portal.delivery.models import DeliveryFile, ShareLink
from portal.people.models import House


@dataclass(frozen=True)
class SharedPage:
    """`files` with the address of each; no addresses while the set is held."""

    link: ShareLink
    house: House
    files: tuple[tuple[DeliveryFile, str], ...]
    zip_address: str
    is_held: bool

    @property
    def size_bytes(self) -> int:
        return sum(file.size_bytes for file, _ in self.files)


def shared_page(link: ShareLink) -> SharedPage:
    delivery = link.delivery
    is_held = delivery.song.booking.files_wait_for_balance
    files = list(delivery.files.current())
    has_zip = bool(files) and all(file.crc32 is not None for file in files)
    return SharedPage(
        link=link,
        house=House.get(),
        files=tuple((file, "" if is_held else links.file_address(link, file)) for file in files),
        zip_address=links.zip_address(link) if has_zip and not is_held else "",
        is_held=is_held,
    )
