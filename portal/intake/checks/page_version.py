"""What a page showed of a song's tempo when a decision was made on it: nobody approves what they have not seen."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from portal.bookings.models import Song
from portal.intake.errors import MapChangedError
from portal.intake.models import ApprovedMap, SongCheck


@dataclass(frozen=True)
class Seen:
    """The newest finished check by its key and the newest map by its version; 0: there was none, or a form without
    these fields, which has shown nothing."""

    check: int = 0
    began: int = 0

    @classmethod
    def of(cls, check: SongCheck | None, newest: ApprovedMap | None) -> Seen:
        return cls(check=check.pk if check else 0, began=newest.version if newest else 0)

    @classmethod
    def now(cls, song: Song) -> Seen:
        return cls.of(song.checks.done().first(), song.maps.first())

    @classmethod
    def by(cls, sent: Mapping[str, str]) -> Seen:
        """As the form that was sent says."""
        return cls(check=number_in(sent.get("check", "")), began=number_in(sent.get("began", "")))

    def hold_check(self, check: SongCheck | None) -> None:
        if check is not None and check.pk != self.check:
            raise MapChangedError(
                "The song was measured again while this page was open. The page now shows the new "
                "results; please check them and approve again."
            )

    def hold_map(self, newest: ApprovedMap | None) -> None:
        if newest is not None and newest.version != self.began:
            raise MapChangedError(
                f"Version {newest.version} was approved by {newest.approved_by} while this page was "
                "open. It was not overwritten."
            )


def number_in(text: str) -> int:
    return int(text) if text.isascii() and text.isdecimal() and len(text) < 19 else 0
