"""All that the *Prepare* part of a song's page shows to a drummer."""

from __future__ import annotations

from dataclasses import dataclass

from portal.bookings.models import Song
from portal.intake.models import ApprovedMap
from portal.prep.choices import settings_for
from portal.prep.errors import OVER, PrepError
from portal.prep.models import PreparedFile, SessionPack
from portal.prep.pack_inputs import inputs_of, why_older


@dataclass(frozen=True)
class PreparePage:
    """`trouble`: why no pack can be made now. `older`: what changed since the pack was asked for."""

    song: Song
    approved: ApprovedMap | None
    prepared: list[PreparedFile]
    pack: SessionPack | None
    older: str
    trouble: str
    click_is_older: bool

    @property
    def is_making(self) -> bool:
        return self.pack is not None and self.pack.state == SessionPack.State.MAKING

    @property
    def is_working(self) -> bool:
        return self.is_making or (self.approved is not None and not self.prepared)

    @property
    def peak_in_words(self) -> str:
        """Of the click in the files."""
        peaks = [file.facts["peak_dbfs"] for file in self.prepared if "peak_dbfs" in file.facts]
        return f"{peaks[0]:g} dBFS".replace("-", "\N{MINUS SIGN}") if peaks else ""

    @property
    def can_ask(self) -> bool:
        """Whether pressing makes something that is not there."""
        is_there = self.pack is not None and self.pack.state == SessionPack.State.MADE and not self.older
        return not (self.trouble or self.is_making or is_there)


def prepare_page(song: Song) -> PreparePage:
    approved = song.maps.prefetch_related("prepared").first()
    pack = song.packs.select_related("approved_map").first()
    older = trouble = ""
    try:
        inputs = inputs_of(song)
        older = why_older(pack, inputs) if pack else ""
    except PrepError as error:
        trouble = str(error)
    prepared = list(approved.prepared.all()) if approved else []
    return PreparePage(
        song=song,
        approved=approved,
        prepared=prepared,
        pack=pack,
        older=older,
        trouble=OVER if song.booking.is_over else trouble,
        click_is_older=bool(approved and not song.booking.is_over and _is_older(prepared, approved)),
    )


def _is_older(prepared: list[PreparedFile], approved: ApprovedMap) -> bool:
    """Whether the click was made with other choices than hold now. One of an earlier version of Kitpost cannot say."""
    made_with = [file.facts["made_with"] for file in prepared if "made_with" in file.facts]
    wanted = settings_for(approved).to_json()
    ignored = ("start_bar", "clock_start_h", "name_template")
    return any(_without(made, ignored) != _without(wanted, ignored) for made in made_with)


def _without(settings: dict[str, object], names: tuple[str, ...]) -> dict[str, object]:
    return {name: value for name, value in settings.items() if name not in names}
