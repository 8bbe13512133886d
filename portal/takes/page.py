"""Everything that the rough-mix part of a song's page shows one reader."""

from __future__ import annotations

import json
from dataclasses import dataclass
from typing import Any

from portal.bookings.models import Song
from portal.bookings.stages import SongStage
from portal.bookings.turn_page import turn_of
from portal.bookings.turns import CHANGE_MIX, HEAR_MIX, SEND_MIX, TRACK
from portal.people.models import User
from portal.takes.forms import AboutForm, DecisionForm, SendForm
from portal.takes.models import RoughMix
from portal.takes.rounds import Rounds, rounds_of
from portal.takes.services import waiting_notes
from portal.takes.stages import STAGES_OF_MIXES

TAKE_CODES = tuple(wait.code for wait in (TRACK, SEND_MIX, CHANGE_MIX, HEAR_MIX))


@dataclass(frozen=True)
class TakesPage:
    """`newest` is what is to be done something about, `older` what was before it."""

    song: Song
    user: User
    newest: RoughMix | None
    older: tuple[RoughMix, ...]
    # Of the older ones, for the drummer: what can still be sent, and what was passed by.
    still_to_send: tuple[RoughMix, ...]
    passed_by: tuple[RoughMix, ...]
    rounds: Rounds
    # The client's notes at bars that go with their next request.
    notes_waiting: int
    notes_open: int
    can_start: bool
    can_upload: bool
    can_send: bool
    can_decide: bool
    is_measuring: bool
    upload_form: AboutForm
    send_form: SendForm | None
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

    @property
    def has_earlier_heard(self) -> bool:
        return any(mix.state in RoughMix.HEARD for mix in self.older)

    @property
    def can_listen(self) -> bool:
        return self.newest is not None and bool(self.newest.proxy_key)


def takes_page(
    song: Song, user: User, *, send_form: SendForm | None = None, decision_form: DecisionForm | None = None
) -> TakesPage:
    mixes = list(song.rough_mixes.visible_to(user).select_related("decided_by", "take"))
    approved = song.maps.first()
    for mix in mixes:
        mix.map_json = json.dumps(map_from(approved.map, mix.begins_at_s)) if approved else ""
    newest = mixes[0] if mixes else None
    is_at_work = song.stage in STAGES_OF_MIXES and not song.booking.is_over
    is_out = newest is not None and newest.state == RoughMix.State.OUT
    can_send = user.is_drummer and is_at_work and newest is not None and newest.state == RoughMix.State.READY
    unsent = [mix for mix in mixes[1:] if user.is_drummer and mix.state == RoughMix.State.READY]
    heard = max((mix.number for mix in mixes if mix.state in RoughMix.HEARD), default=0)
    rounds, notes_waiting = rounds_of(song), waiting_notes(song).count()
    return TakesPage(
        song=song,
        user=user,
        newest=newest,
        older=tuple(mixes[1:]),
        still_to_send=tuple(mix for mix in unsent if is_at_work and mix.number > heard),
        passed_by=tuple(mix for mix in unsent if mix.number < heard),
        rounds=rounds,
        notes_waiting=notes_waiting,
        notes_open=song.bar_notes.visible_to(user).open().count(),
        can_start=user.is_drummer and song.stage == SongStage.READY and not song.booking.is_over,
        can_upload=user.is_drummer and is_at_work,
        can_send=can_send,
        can_decide=not user.is_drummer and is_at_work and is_out,
        is_measuring=any(mix.state == RoughMix.State.RECEIVED for mix in mixes),
        upload_form=AboutForm(song=song),
        send_form=send_form or (SendForm(song=song, of=newest) if can_send else None),
        decision_form=decision_form or DecisionForm(rounds=rounds, notes=notes_waiting),
    )


def map_from(map_json: dict[str, Any], begins_at_s: float) -> dict[str, Any]:
    """The same map where time begins at `begins_at_s` of it."""
    segments = [one | {"time_s": one["time_s"] - begins_at_s} for one in map_json["segments"]]
    return map_json | {"bar_one_s": map_json["bar_one_s"] - begins_at_s, "segments": segments}
