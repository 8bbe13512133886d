from __future__ import annotations

from typing import Any

import pytest

from analysis.handover import Repair
from portal.delivery.models import Delivery
from portal.delivery.repairs.offers import Wanted, offers_of, wanted_of
from portal.people.models import House, TrackNames
from tests.factories import make_delivery, make_track

pytestmark = pytest.mark.django_db

LENGTHS = {"Hat.wav": 1_000, "Kick In.wav": 1_000, "Tom1.wav": 998, "Tom2.wav": 1_010}


def failed(code: str, file: str | None = None, value: Any = None, limit: Any = None) -> dict[str, Any]:
    return {"code": code, "file": file, "passed": False, "value": value, "limit": limit, "message": f"{code}."}


def checked_set(*checks: dict[str, Any], lengths: dict[str, int] = LENGTHS, bit_depth: int = 24) -> Delivery:
    delivery = make_delivery(state="checked", checks=list(checks))
    for name, frames in lengths.items():
        facts = {"sample_rate_hz": 48_000, "bit_depth": bit_depth, "channels": 1, "frames": frames}
        make_track(delivery=delivery, name=name, facts=facts, content=name.encode())
    return delivery


def keys(delivery: Delivery) -> list[tuple[str, bool]]:
    return [(offer.key, offer.usual) for offer in offers_of(delivery, list(delivery.files.current()))]


def wanted(delivery: Delivery, *keys: str) -> Wanted | None:
    return wanted_of(delivery, list(delivery.files.current()), keys)


def test_one_length_without_cutting_anything_unless_that_is_ticked() -> None:
    delivery = checked_set(failed("length", "Tom1.wav", 998, 1_000), failed("length", "Tom2.wav", 1_010, 1_000))

    assert keys(delivery) == [("longest", True), ("usual", False)]
    longest, usual = offers_of(delivery, list(delivery.files.current()))
    assert longest.words == "Add silence at the end of 3 files, so that all have 1010 samples. Nothing is cut off."
    assert usual.words.startswith("Cut Tom2.wav off at 1000 samples instead")
    assert wanted(delivery, "longest") == Wanted(Repair(frames=1_010))
    assert wanted(delivery, "usual") == Wanted(Repair(frames=1_000))


def test_the_set_moves_back_to_where_the_mix_has_it() -> None:
    """480 frames late: 480 earlier, and as much shorter (Source: arithmetic)."""
    delivery = checked_set(failed("lined-up", None, 480, 1), failed("length", "Tom1.wav", 998, 1_000))

    assert ("move", False) in keys(delivery)
    assert wanted(delivery, "move", "longest") == Wanted(Repair(later_frames=-480, frames=530))
    assert wanted(delivery, "move") == Wanted(Repair(later_frames=-480))


@pytest.mark.parametrize("other", ["same-take", "speed", "break", "drift"])
def test_a_set_that_is_not_only_moved_stays(other: str) -> None:
    assert keys(checked_set(failed("lined-up", None, 480, 1), failed(other))) == []


def test_a_set_with_one_track_elsewhere_is_not_moved_though_somebody_waived_that() -> None:
    delivery = checked_set(failed("lined-up", None, 480, 1), failed("arrival", "Tom1.wav", 48, 0))
    assert keys(delivery) == []
    delivery.waivers.create(
        code="arrival", file_name="Tom1.wav", reason="meant", waived_by=delivery.song.booking.created_by
    )
    assert keys(delivery) == []
    assert wanted(delivery, "move") is None


def test_a_set_is_moved_only_where_its_tracks_are_known_to_lie_together() -> None:
    told = failed("arrival") | {"passed": True}
    assert keys(checked_set(failed("lined-up", None, 480, 1), told)) == [("move", False)]
    assert keys(checked_set(failed("lined-up", None, 480, 1), told | {"undecided": True})) == []


def test_polarity_is_ticked_where_one_is_odd_and_left_to_the_drummer_where_several_are() -> None:
    assert keys(checked_set(failed("polarity", "Tom1.wav"))) == [("flip:Tom1.wav", True)]
    both = checked_set(failed("polarity", "Tom1.wav"), failed("polarity", "Tom2.wav"))
    assert keys(both) == [("flip:Tom1.wav", False), ("flip:Tom2.wav", False)]
    assert wanted(both, "flip:Tom2.wav", "flip:Hat.wav") == Wanted(Repair(flipped=("Tom2.wav",)))


def test_bits_go_only_from_all_files_at_once() -> None:
    padded = [failed("bits", name, 16) for name in LENGTHS]
    assert keys(checked_set(*padded)) == [("depth", True)]
    assert wanted(checked_set(*padded), "depth") == Wanted(Repair(true_depth=tuple(LENGTHS)))
    assert keys(checked_set(*padded[1:])) == []
    dithered = [failed("bits", name, 16.2, 24) for name in LENGTHS]
    assert keys(checked_set(*dithered)) == []
    assert keys(checked_set(*padded, bit_depth=16)) == []


def test_unsafe_names_are_mended_unless_two_would_be_one() -> None:
    delivery = checked_set(failed("safe-name", "Kick In.wav", "Kick In.wav", "Kick_In.wav"))
    assert keys(delivery) == [("rename:Kick In.wav", True)]
    found = wanted(delivery, "rename:Kick In.wav")
    assert found == Wanted(Repair(), {"Kick In.wav": "Kick_In.wav"})
    assert not any(found.changes(file) for file in delivery.files.current())
    twice = [failed("safe-name", name, name, "Tom.wav") for name in ("Tom1.wav", "Tom2.wav")]
    assert keys(checked_set(*twice)) == []


def test_what_was_waived_and_what_is_not_offered_is_not_corrected() -> None:
    delivery = checked_set(failed("polarity", "Tom1.wav"))
    delivery.waivers.create(
        code="polarity", file_name="Tom1.wav", reason="meant", waived_by=delivery.song.booking.created_by
    )
    assert keys(delivery) == []
    assert wanted(delivery, "flip:Tom1.wav") is None
    assert wanted(checked_set(failed("clipped", "Tom1.wav")), "longest", "move", "depth") is None


def named(delivery: Delivery, pattern: str, **channels: str) -> dict[str, str]:
    House.objects.update_or_create(pk=1, defaults={"track_names": pattern})
    for name, channel in channels.items():
        delivery.files.filter(name=f"{name}.wav").update(channel=channel)
    found = wanted(delivery, *(key for key, _ in keys(delivery)))
    return found.renamed if found else {}


def test_the_house_names_tracks_by_their_channels_in_the_usual_order() -> None:
    delivery = checked_set()
    assert named(delivery, TrackNames.SENT) == {}
    numbered = {"Kick In.wav": "01_KickIn.wav", "Hat.wav": "02_Hat.wav", "Tom1.wav": "03_Tom1.wav"}
    assert named(delivery, TrackNames.NUMBER) == numbered | {"Tom2.wav": "04_Tom2.wav"}
    assert keys(delivery) == [("names", True)]
    assert named(delivery, TrackNames.LABEL) == {"Kick In.wav": "KickIn.wav"}


def test_two_files_of_one_channel_keep_their_names_and_one_said_by_hand_gets_its_own() -> None:
    delivery = checked_set(lengths={"Audio.wav": 10, "Hat.wav": 10, "Hat 2.wav": 10})
    renamed = named(delivery, TrackNames.LABEL, Audio="SnTop")
    assert renamed == {"Audio.wav": "SnTop.wav"}
