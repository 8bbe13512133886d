"""Everything that the rough-mix part of a song's page shows one reader."""

from __future__ import annotations

import json
from dataclasses import dataclass

from portal.bookings.models import Song
from portal.bookings.stages import SongStage
from portal.bookings.turn_page import turn_of
from portal.bookings.turns import CHANGE_MIX, HEAR_MIX, SEND_MIX, TRACK
from portal.people.models import User
from portal.takes.forms import DecisionForm, SendForm
from portal.takes.models import RoughMix
from portal.takes.services import STAGES_OF_MIXES

TAKE_CODES = tuple(wait.code for wait in (TRACK, SEND_MIX, CHANGE_MIX, HEAR_MIX))


@dataclass(frozen=True)
class TakesPage:
    """`newest` is what is to be done something about, `older` what was before it."""

    song: Song
    user: User
    newest: RoughMix | None
    older: tuple[RoughMix, ...]
    map_json: str
    can_start: bool
    can_upload: bool
    can_send: bool
    can_decide: bool
    is_measuring: bool
    send_form: SendForm
    decision_form: DecisionForm

    @property
    def is_yours(self) -> bool:
        return self.song.turn == turn_of(self.user) and self.song.waits_for in TAKE_CODES

    @property
    def is_accepted(self) -> bool:
        return self.newest is not None and self.newest.state == RoughMix.State.ACCEPTED

    @property
    def shows_anything(self) -> bool:
        return self.newest is not None or self.can_start or self.can_upload


def takes_page(
    song: Song, user: User, *, send_form: SendForm | None = None, decision_form: DecisionForm | None = None
) -> TakesPage:
    mixes = list(song.rough_mixes.visible_to(user).select_related("decided_by"))
    newest = mixes[0] if mixes else None
    is_at_work = song.stage in STAGES_OF_MIXES and not song.booking.is_over
    is_out = newest is not None and newest.state == RoughMix.State.OUT
    return TakesPage(
        song=song,
        user=user,
        newest=newest,
        older=tuple(mixes[1:]),
        map_json=_map_json(song),
        can_start=user.is_drummer and song.stage == SongStage.READY and not song.booking.is_over,
        can_upload=user.is_drummer and is_at_work,
        can_send=user.is_drummer and is_at_work and newest is not None and newest.state == RoughMix.State.READY,
        can_decide=not user.is_drummer and is_at_work and is_out,
        is_measuring=any(mix.state == RoughMix.State.RECEIVED for mix in mixes),
        send_form=send_form or SendForm(),
        decision_form=decision_form or DecisionForm(),
    )


def _map_json(song: Song) -> str:
    """The approved map, by which the player counts bars; empty when there is none."""
    approved = song.maps.first()
    return json.dumps(approved.map) if approved else ""
