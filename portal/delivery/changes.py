"""What a delivery changed against the one before it, by the content of the files."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from enum import StrEnum

from portal.delivery.models import Delivery, DeliveryFile


class Change(StrEnum):
    NEW = "new"
    CHANGED = "changed"
    RENAMED = "renamed"
    SAME = "same"
    GONE = "gone"


@dataclass(frozen=True)
class ChangedFile:
    """`before` is the file of the earlier delivery, `now` that of this one."""

    change: Change
    now: DeliveryFile | None
    before: DeliveryFile | None

    @property
    def name(self) -> str:
        file = self.now or self.before
        return file.name if file else ""


@dataclass(frozen=True)
class Changes:
    """Against `earlier`, the delivery that the client was given last."""

    earlier: Delivery
    files: tuple[ChangedFile, ...]

    def of(self, *kinds: Change) -> tuple[ChangedFile, ...]:
        return tuple(one for one in self.files if one.change in kinds)

    @property
    def to_take(self) -> tuple[DeliveryFile, ...]:
        """What somebody who has the earlier delivery needs: its content is not there yet."""
        return tuple(one.now for one in self.of(Change.NEW, Change.CHANGED) if one.now)

    @property
    def in_words(self) -> str:
        """ "1 new, 2 changed, 13 the same"."""
        labels = {Change.SAME: "the same"}
        counts = [(len(self.of(kind)), labels.get(kind, kind.value)) for kind in Change]
        return ", ".join(f"{count} {label}" for count, label in counts if count)


def changes_of(delivery: Delivery) -> Changes | None:
    """None for the first delivery of a song that went out."""
    earlier = delivery.song.deliveries.filter(number__lt=delivery.number, state__in=Delivery.SEEN_BY_CLIENT).first()
    if earlier is None:
        return None
    return Changes(earlier, tuple(compared(delivery.files.current(), earlier.files.current())))


def compared(now: Iterable[DeliveryFile], before: Iterable[DeliveryFile]) -> Iterable[ChangedFile]:
    """By name first, then by content: what has another name and the same content was renamed."""
    files, left = list(now), {file.folded_name: file for file in before}
    pairs = [(file, left.pop(file.folded_name, None)) for file in files]
    by_content = {file.sha256: file for file in left.values()}
    for file, earlier in pairs:
        if earlier is not None:
            yield ChangedFile(Change.SAME if earlier.sha256 == file.sha256 else Change.CHANGED, file, earlier)
        elif (other := by_content.pop(file.sha256, None)) is not None:
            left.pop(other.folded_name)
            yield ChangedFile(Change.RENAMED, file, other)
        else:
            yield ChangedFile(Change.NEW, file, None)
    yield from (ChangedFile(Change.GONE, None, file) for file in left.values())
