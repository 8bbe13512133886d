"""What a rough mix is: the take it is of, what it holds, and where it begins."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from analysis.session import Timeline
from portal.bookings.models import Song
from portal.kit.models import TakeLog
from portal.prep.models import SessionPack
from portal.takes.models import RoughMix

Begins, Holds = RoughMix.Begins, RoughMix.Holds


@dataclass(frozen=True)
class About:
    take: TakeLog | None
    holds: str
    begins: str


def usual_about(song: Song) -> About:
    """The newest take that was kept. A drummer who has a session pack plays to it, so the mix begins with it."""
    kept = song.take_logs.standing().filter(is_kept=True).last()
    begins = Begins.FILES if session_begins_at_s(song) is None else Begins.SESSION
    return About(kept, Holds.MIX, begins)


def about_said(song: Song, said: Mapping[str, str]) -> About:
    """What the sender's page said beside the file. What it did not say, or what cannot be, is as usual."""
    usual = usual_about(song)
    numbers = {str(take.pk): take for take in song.take_logs.standing()}
    take = None if said.get("take") == NO_TAKE else numbers.get(said.get("take", ""), usual.take)
    holds = said.get("holds", "")
    begins = said.get("begins", "")
    can_begin = begins in Begins.values and (begins == Begins.FILES or session_begins_at_s(song) is not None)
    return About(take, holds if holds in Holds.values else usual.holds, begins if can_begin else usual.begins)


def begins_at_s(song: Song, begins: str) -> float:
    """Where the mix's first frame lies in the time of the client's files."""
    return (session_begins_at_s(song) or 0.0) if begins == Begins.SESSION else 0.0


def session_begins_at_s(song: Song) -> float | None:
    """Where the newest session pack begins, in the time of the client's files; None without one."""
    pack = song.packs.filter(state__in=(SessionPack.State.MADE, SessionPack.State.CLEARED)).first()
    return -float(Timeline.from_json(pack.timeline).shift_s) if pack and pack.timeline else None


NO_TAKE = "none"
