"""Where the files of a set were agreed to begin, in the time of the client's files."""

from __future__ import annotations

import dataclasses

from analysis.delivery import Agreed
from analysis.maps import TempoMap
from portal.bookings.models import Song
from portal.delivery.models import Delivery
from portal.prep.choices import agreed_for
from portal.takes.about import session_begins_at_s
from portal.takes.models import RoughMix
from portal.takes.page import map_from


def zero_s(delivery: Delivery) -> float:
    """Negative where the files begin before the client's."""
    if delivery.begins == Delivery.Begins.SESSION:
        return session_begins_at_s(delivery.song) or 0.0
    return mix_begins_s(delivery.song) if delivery.begins == Delivery.Begins.MIX else 0.0


def mix_begins_s(song: Song) -> float:
    """0 without an accepted rough mix: then files begin with the client's."""
    accepted = song.rough_mixes.filter(state=RoughMix.State.ACCEPTED).first()
    return accepted.begins_at_s if accepted else 0.0


def map_of(delivery: Delivery) -> TempoMap | None:
    """The approved map in the time of the set's files: what stands on their sheet."""
    approved = delivery.song.maps.first()
    return TempoMap.from_json(map_from(approved.map, zero_s(delivery))) if approved else None


def agreed_of(delivery: Delivery) -> Agreed:
    """As the check takes it: beside a mix that begins elsewhere than the client's files, in the time of the mix."""
    return dataclasses.replace(agreed_for(delivery.song), zero_s=zero_s(delivery) - mix_begins_s(delivery.song))


def zero_in_words(delivery: Delivery) -> str:
    at_s = zero_s(delivery)
    if not at_s:
        return "with the client’s files"
    return f"{abs(at_s):.6f} s {'before' if at_s < 0 else 'after'} the client’s files"
