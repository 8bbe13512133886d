"""Corrected sets of real sound: exact, whole, from the originals, and once."""

from __future__ import annotations

import io
from collections.abc import Callable
from datetime import timedelta
from typing import Any

import numpy as np
import pytest
import soundfile
from django.core.files.storage import default_storage
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from analysis.core.samples import Samples
from portal import making
from portal.delivery import services, tasks
from portal.delivery.errors import NotCheckedError
from portal.delivery.models import Delivery, DeliveryFile, SetRepair
from portal.delivery.repairs import jobs
from portal.delivery.repairs.services import ask_repair
from tests import signals
from tests.factories import make_client, make_delivery, make_rough_mix, make_song, make_track, wav_bytes

pytestmark = pytest.mark.django_db

LATE = 480
# As the engine says it of this set: the first test has it checked.
FAILURES: list[dict[str, Any]] = [
    {"code": "lined-up", "file": None, "passed": False, "value": LATE, "limit": 1, "message": "Late."},
    {"code": "length", "file": "Hat.wav", "passed": False, "value": 192_477, "limit": 192_480, "message": "Short."},
    {
        "code": "safe-name",
        "file": "Kick In (1).wav",
        "passed": False,
        "value": "Kick In (1).wav",
        "limit": "Kick_In_1.wav",
        "message": "Unsafe.",
    },
]


def late(take: Samples) -> Samples:
    return np.concatenate([np.zeros((LATE, 1)), take])


def words(file: DeliveryFile) -> Samples:
    with default_storage.open(file.key, "rb") as stored:
        return np.asarray(soundfile.read(io.BytesIO(stored.read()), dtype="int32", always_2d=True)[0])


@pytest.fixture
def takes() -> dict[str, Samples]:
    return {name: signals.noise(duration_s=4.0, seed=seed, rms=0.05) for seed, name in enumerate(("Kick In", "Hat"))}


@pytest.fixture
def delivery(takes: dict[str, Samples]) -> Delivery:
    """The whole set 10 ms late, one file three frames short, one name unsafe."""
    song = make_song(client=make_client(), stage="tracking")
    make_rough_mix(song=song, state="accepted", content=wav_bytes(takes["Kick In"] + takes["Hat"]))
    delivery = make_delivery(song=song)
    facts = {"sample_rate_hz": 48_000, "bit_depth": 24, "channels": 1, "frames": 192_000 + LATE}
    kick, hat = wav_bytes(late(takes["Kick In"])), wav_bytes(late(takes["Hat"])[:-3])
    make_track(delivery=delivery, name="Kick In (1).wav", content=kick, facts=facts, microphone="dynamic")
    make_track(delivery=delivery, name="Hat.wav", content=hat, facts=facts | {"frames": 192_000 + LATE - 3})
    delivery.store_checks(FAILURES, passed=False)
    return delivery


def asked(delivery: Delivery, *keys: str) -> SetRepair:
    return ask_repair(delivery=delivery, keys=keys, by=delivery.song.booking.created_by)


def current(delivery: Delivery) -> dict[str, DeliveryFile]:
    return {file.name: file for file in delivery.files.current()}


def test_the_corrected_set_is_exact_and_passes_and_the_originals_stay(
    delivery: Delivery, django_capture_on_commit_callbacks: Callable[..., Any], client: Client
) -> None:
    delivery.ask_check()
    tasks.check_delivery(delivery.pk)
    delivery.refresh_from_db()
    found = {check["code"]: (check["value"], check["limit"]) for check in delivery.failures}
    assert found.keys() == {"lined-up", "length", "safe-name"}
    assert (found["lined-up"][0], found["safe-name"][1]) == (LATE, "Kick_In_1.wav")
    sent = {file.name: file.sha256 for file in delivery.files.current()}
    before = {file.name: words(file) for file in delivery.files.current()}
    client.force_login(delivery.song.booking.created_by)
    page = client.get(reverse("delivery:delivery", args=[delivery.pk])).content.decode()
    assert "Move all files 480 samples earlier" in page
    ticked = {"repair": ["move", "longest", "rename:Kick In (1).wav"]}
    with django_capture_on_commit_callbacks(execute=True):
        client.post(reverse("delivery:repair", args=[delivery.pk]), ticked)
    delivery.refresh_from_db()

    assert (delivery.state, delivery.passed, delivery.failures) == ("checked", True, [])
    files = current(delivery)
    kick, hat = files.pop("Kick_In_1.wav"), files.pop("Hat.wav")
    assert not files
    assert np.array_equal(words(kick), before["Kick In (1).wav"][LATE:])
    assert np.array_equal(words(hat)[:-3], before["Hat.wav"][LATE:])
    assert not words(hat)[-3:].any()
    assert kick.microphone == "dynamic"
    assert hat.corrections == ["Hat.wav was moved 480 samples earlier, with the whole set.", *hat.corrections[1:]]
    assert hat.corrections[1:] == ["3 samples of silence were added at the end of Hat.wav."]
    assert kick.corrections[-1] == f"Kick In (1).wav was renamed to {kick.name}."
    replaced = {file.name: file.sha256 for file in delivery.files.exclude(replaced_at=None)}
    assert replaced == sent
    assert all(default_storage.exists(f"originals/{sha256[:2]}/{sha256}") for sha256 in sent.values())
    entry = delivery.song.booking.timeline.filter(text__startswith="corrected delivery 1:").get()
    assert "was moved 480 samples earlier" in entry.text
    page = client.get(reverse("delivery:delivery", args=[delivery.pk])).content.decode()
    assert "3 samples of silence were added at the end of Hat.wav." in page


def test_a_killed_worker_is_followed_by_one_that_goes_on(delivery: Delivery, monkeypatch: pytest.MonkeyPatch) -> None:
    made: list[str] = []
    make = jobs._made

    def killed_at_the_second(file: DeliveryFile, wanted: Any) -> dict[str, Any]:
        made.append(file.name)
        if len(made) == 2:
            raise SystemExit
        return make(file, wanted)

    monkeypatch.setattr(jobs, "_made", killed_at_the_second)
    repair = asked(delivery, "move")
    with pytest.raises(SystemExit):
        tasks.make_repair(repair.pk)
    repair.refresh_from_db()
    assert (repair.state, len(repair.made), len(made)) == ("making", 1, 2)
    with pytest.raises(NotCheckedError, match="A corrected set is being made"):
        services.release(delivery=delivery, note="", by=delivery.song.booking.created_by)

    SetRepair.objects.update(began_at=timezone.now() - making.LEFT_AFTER - timedelta(seconds=1))
    queued: list[int] = []
    monkeypatch.setattr(tasks.make_repair, "delay", queued.append)
    tasks.sweep()
    assert queued == [repair.pk]
    tasks.make_repair(repair.pk)
    tasks.make_repair(repair.pk)
    repair.refresh_from_db()
    assert (repair.state, made) == ("made", ["Hat.wav", "Kick In (1).wav", "Kick In (1).wav"])
    assert sorted(delivery.files.values_list("name", "version")) == [
        ("Hat.wav", 1),
        ("Hat.wav", 2),
        ("Kick In (1).wav", 1),
        ("Kick In (1).wav", 2),
    ]


def test_what_is_stopped_again_and_again_is_given_up(delivery: Delivery, monkeypatch: pytest.MonkeyPatch) -> None:
    repair = asked(delivery, "move")
    SetRepair.objects.update(tries=making.MOST_TRIES)
    tasks.make_repair(repair.pk)
    repair.refresh_from_db()
    assert (repair.state, repair.trouble) == ("failed", jobs.STOPPED)


def test_a_set_that_changed_meanwhile_is_not_corrected(delivery: Delivery) -> None:
    repair = asked(delivery, "longest")
    make_track(delivery=delivery, name="Tom.wav", content=wav_bytes(signals.noise()))
    tasks.make_repair(repair.pk)
    repair.refresh_from_db()
    assert (repair.state, repair.trouble) == ("failed", jobs.CHANGED)
    assert not delivery.files.exclude(replaced_at=None).exists()


def test_a_correction_that_is_gone_is_none(delivery: Delivery) -> None:
    """Its row went with the booking before a worker came to it."""
    jobs.make_repair(404)
    assert not SetRepair.objects.exists()


def test_what_cannot_be_corrected_changes_nothing_and_says_so(delivery: Delivery, client: Client) -> None:
    repair = asked(delivery, "move")
    SetRepair.objects.update(repair=repair.repair | {"true_depth": ["Hat.wav"]})
    tasks.make_repair(repair.pk)
    repair.refresh_from_db()
    assert repair.state == "failed"
    assert repair.trouble.startswith("Nothing was corrected: Hat.wav uses all of its bits")
    assert not delivery.files.exclude(replaced_at=None).exists()
    client.force_login(delivery.song.booking.created_by)
    assert "Hat.wav uses all" in client.get(reverse("delivery:delivery", args=[delivery.pk])).content.decode()


def test_a_name_that_is_taken_is_not_given(delivery: Delivery) -> None:
    repair = asked(delivery, "move")
    SetRepair.objects.update(renamed={"Kick In (1).wav": "hat.WAV"})
    tasks.make_repair(repair.pk)
    repair.refresh_from_db()
    assert (repair.state, "in the set already" in repair.trouble) == ("failed", True)
    assert set(current(delivery)) == {"Hat.wav", "Kick In (1).wav"}


def test_a_track_turned_over_is_turned_over_on_the_sheet(delivery: Delivery) -> None:
    delivery.files.filter(name="Hat.wav").update(polarity=DeliveryFile.Polarity.RECORDED)
    delivery.checks = [{"code": "polarity", "file": "Hat.wav", "passed": False, "message": "Odd."}]
    delivery.save(update_fields=["checks"])
    before = words(current(delivery)["Hat.wav"])
    tasks.make_repair(asked(delivery, "flip:Hat.wav").pk)
    hat = current(delivery)["Hat.wav"]
    assert (hat.polarity, hat.version, hat.corrections) == ("flipped", 2, ["The polarity of Hat.wav was turned over."])
    assert np.array_equal(words(hat), -before)
    assert current(delivery)["Kick In (1).wav"].version == 1


def test_a_track_of_which_nothing_was_said_says_that_it_was_turned_over(delivery: Delivery) -> None:
    delivery.checks = [{"code": "polarity", "file": "Hat.wav", "passed": False, "message": "Odd."}]
    delivery.save()
    tasks.make_repair(asked(delivery, "flip:Hat.wav").pk)
    assert current(delivery)["Hat.wav"].get_polarity_display() == "turned over here"


def test_nothing_is_corrected_unasked(delivery: Delivery) -> None:
    with pytest.raises(NotCheckedError, match="Tick what is to be corrected"):
        asked(delivery)
    first = asked(delivery, "move")
    assert asked(delivery, "longest") == first
    delivery.reopen()
    SetRepair.objects.update(state="made")
    with pytest.raises(NotCheckedError, match="run the checks first"):
        asked(delivery, "move")
