"""Checking sets of real sound with known faults."""

from __future__ import annotations

import zlib
from collections.abc import Callable
from datetime import timedelta
from functools import partial
from typing import Any

import numpy as np
import pytest
from django.core.files.base import ContentFile
from django.core.files.storage import default_storage
from django.utils import timezone

from analysis.delivery.check_results import VerifyReport
from analysis.sandbox.child import verify_set_in_child
from portal.delivery import jobs, services, tasks
from portal.delivery.models import Delivery
from portal.delivery.sheet.data import track_of
from portal.prep.models import SongPrep
from tests import signals
from tests.factories import (
    make_delivery,
    make_map,
    make_rough_mix,
    make_song,
    make_source,
    make_track,
    wav_bytes,
)

pytestmark = pytest.mark.django_db


def sound(seed: int, duration_s: float = 2.0, **options: Any) -> bytes:
    return wav_bytes(signals.noise(duration_s=duration_s, seed=seed, rms=0.05), **options)


def checked(*files: tuple[str, bytes], delivery: Delivery | None = None) -> Delivery:
    delivery = delivery or make_delivery()
    for name, content in files:
        make_track(delivery=delivery, name=name, content=content)
    delivery.ask_check()
    tasks.check_delivery(delivery.pk)
    delivery.refresh_from_db()
    return delivery


def failed(delivery: Delivery) -> set[tuple[str, str | None]]:
    return {(check["code"], check["file"]) for check in delivery.checks if not check["passed"]}


def test_a_good_set_passes_and_its_files_are_known_to_the_byte() -> None:
    delivery = checked(("KickIn.wav", sound(1)), ("SnTop.wav", sound(2)))

    assert (delivery.state, delivery.passed, failed(delivery)) == (Delivery.State.CHECKED, True, set())
    kick = delivery.files.get(name="KickIn.wav")
    assert kick.crc32 == zlib.crc32(sound(1))
    assert kick.facts == {"sample_rate_hz": 48_000, "bit_depth": 24, "channels": 1, "frames": 96_000}
    assert ("stored-intact", "KickIn.wav") in {(check["code"], check["file"]) for check in delivery.checks}


@pytest.mark.parametrize(
    ("name", "content", "code"),
    [
        ("Tom1.wav", sound(3, duration_s=1.9), "length"),
        ("Tom1.wav", sound(3, bit_depth=16), "depth"),
        ("Tom1.wav", wav_bytes(signals.silence(duration_s=2.0)), "sounding"),
        ("Tom 1 (new).wav", sound(3), "safe-name"),
        ("Tom1.wav", b"<html>" * 100, "readable"),
        ("Tom1.wav", sound(1), "distinct-sound"),
        ("Tom1.wav", wav_bytes(np.clip(signals.tone(amplitude=3.0, duration_s=2.0), -1.0, 1.0)), "clipped"),
    ],
)
def test_each_fault_fails_its_own_check_of_its_own_file(name: str, content: bytes, code: str) -> None:
    delivery = checked(("KickIn.wav", sound(1)), ("SnTop.wav", sound(2)), (name, content))

    assert not delivery.passed
    assert (code, name) in failed(delivery)
    assert {file for _, file in failed(delivery)} == {name}
    assert all(check["message"].endswith(".") for check in delivery.checks)


def test_a_file_at_another_rate_fails() -> None:
    odd = wav_bytes(signals.noise(duration_s=2.0, sample_rate_hz=44_100), 44_100)
    delivery = checked(("KickIn.wav", sound(1)), ("SnTop.wav", sound(2)), ("Hat.wav", odd))
    assert ("rate", "Hat.wav") in failed(delivery)


@pytest.mark.parametrize(("rate_hz", "depth", "codes"), [(48_000, 24, set()), (44_100, 16, {"rate", "depth"})])
def test_what_was_chosen_for_the_song_was_agreed(rate_hz: int, depth: int, codes: set[str]) -> None:
    song = make_song()
    SongPrep.objects.create(song=song, sample_rate_hz=rate_hz, bit_depth=depth)
    delivery = checked(("KickIn.wav", sound(1)), delivery=make_delivery(song=song))
    assert failed(delivery) == {(f"agreed-{code}", None) for code in codes}


def test_a_set_that_ends_before_the_song_does_fails_against_the_map() -> None:
    song = make_song()
    make_map(song=song, bar_one_s=5.0)
    delivery = checked(("KickIn.wav", sound(1)), delivery=make_delivery(song=song))
    assert ("covers-map", "KickIn.wav") in failed(delivery)


def test_a_set_is_laid_against_the_mix_that_was_accepted() -> None:
    """The tracks start 480 frames late: 10 ms at 48 kHz."""
    song = make_song()
    take = signals.noise(duration_s=4.0, rms=0.05)
    make_rough_mix(song=song, state="accepted", content=wav_bytes(take))
    late = np.concatenate([np.zeros((480, 1)), take[:-480]])
    delivery = checked(("KickIn.wav", wav_bytes(late)), delivery=make_delivery(song=song))
    check = next(check for check in delivery.checks if check["code"] == "lined-up")
    assert (check["passed"], check["value"]) == (False, 480)


@pytest.mark.parametrize(("late_frames", "passed"), [(0, True), (960, True), (4_800, False)])
def test_a_set_is_laid_on_the_approved_map(late_frames: int, passed: bool) -> None:
    """A hit on every half beat at 120 BPM. 20 ms late is a feel, 100 ms late is off the song."""
    song = make_song()
    make_map(song=song, bpm=120.0, bar_one_s=0.5)
    hits = np.random.default_rng(3).normal(0, 150, 60).astype(int) + np.arange(60) * 12_000 + 24_000
    take = np.zeros((800_000, 1))
    for seed, start in enumerate(hits):
        take[start + late_frames : start + late_frames + 4_800] += signals.burst(seed=seed)
    delivery = checked(("OHL.wav", wav_bytes(take)), delivery=make_delivery(song=song))

    check = next(check for check in delivery.checks if check["code"] == "on-the-map")
    assert check["passed"] == delivery.passed == passed
    assert check["value"] == pytest.approx(late_frames / 48, abs=3.0)


def test_the_clients_files_are_lent_those_with_drums_first() -> None:
    song = make_song()
    make_source(song=song, name="gone.wav")
    reports: dict[str, dict[str, Any]] = {
        "bass.wav": {"loudness_lufs": -14.0},
        "click.wav": {"is_click": True},
        "guide.wav": {"drums": {"present": True, "confidence": 0.9}},
        "empty.wav": {"loudness_lufs": None},
    }
    for name, changes in reports.items():
        source = make_source(song=song, name=name)
        source.key = default_storage.save(f"originals/{name}", ContentFile(b"sound"))
        source.report = (source.report or {}) | changes
        source.save()

    with jobs.lend_originals(song) as originals:
        assert [path.name for path in originals] == ["guide.wav", "bass.wav"]


@pytest.mark.child
def test_a_set_that_cannot_be_checked_to_the_end_says_so_and_is_not_released(monkeypatch: pytest.MonkeyPatch) -> None:
    hurried = partial(verify_set_in_child, time_limit_s=0.01)
    monkeypatch.setattr(jobs, "verify_set_in_child", hurried)
    delivery = checked(("KickIn.wav", sound(1)))

    assert (delivery.state, delivery.passed) == (Delivery.State.CHECKED, False)
    assert [check["code"] for check in delivery.failures] == ["checked"]
    assert delivery.failures[0]["message"].startswith("The check of the set could not finish: it took more than")


def test_bytes_that_changed_in_the_store_are_found() -> None:
    delivery = make_delivery()
    track = make_track(delivery=delivery, name="KickIn.wav", content=sound(99))
    default_storage.delete(track.key)
    default_storage.save(track.key, ContentFile(sound(2)))
    assert ("stored-intact", "KickIn.wav") in failed(checked(delivery=delivery))


def test_checked_twice_it_says_the_same() -> None:
    delivery = checked(("KickIn.wav", sound(1)))
    first = delivery.checks
    tasks.check_delivery(delivery.pk)
    delivery.refresh_from_db()
    assert (delivery.state, delivery.checks) == (Delivery.State.CHECKED, first)


def another_track(delivery: Delivery) -> None:
    make_track(delivery=delivery, name="SnTop.wav", content=sound(2))


def another_channel(delivery: Delivery) -> None:
    """It asks for a check of its own."""
    assert services.describe(delivery=delivery, save=lambda: delivery.files.update(channel="SnTop"))


@pytest.mark.parametrize("change", [another_track, another_channel])
def test_the_checks_of_a_set_that_changed_meanwhile_are_dropped(
    change: Callable[[Delivery], None], monkeypatch: pytest.MonkeyPatch
) -> None:
    delivery = make_delivery()
    make_track(delivery=delivery, name="KickIn.wav", content=sound(1))
    delivery.ask_check()
    store = jobs.store

    def change_then_store(*args: Any) -> None:
        change(delivery)
        store(*args)

    monkeypatch.setattr(jobs, "store", change_then_store)
    tasks.check_delivery(delivery.pk)
    delivery.refresh_from_db()
    assert (delivery.state, delivery.checks) == (Delivery.State.CHECKING, [])


def test_the_sweep_finds_checks_that_were_lost(monkeypatch: pytest.MonkeyPatch) -> None:
    queued: list[int] = []
    monkeypatch.setattr(tasks.check_delivery, "delay", queued.append)
    left = make_delivery(state="checking", check_asked_at=timezone.now() - jobs.LEFT_ALONE_FOR - timedelta(seconds=1))
    make_delivery(state="checking", check_asked_at=timezone.now())
    make_delivery()
    tasks.sweep()
    assert queued == [left.pk]


def test_every_failure_has_to_be_waived_before_release() -> None:
    delivery = checked(("KickIn.wav", sound(1)), ("Tom1.wav", sound(3, duration_s=1.5, bit_depth=16)))
    by = delivery.song.booking.created_by
    assert {check["code"] for check in delivery.failures} == {"length", "depth"}
    services.waive(delivery=delivery, code="length", file_name="Tom1.wav", reason="rings out early", by=by)
    assert [check["code"] for check in Delivery.objects.get(pk=delivery.pk).failures] == ["depth"]


@pytest.mark.parametrize(("stated", "told"), [("unsaid", ""), ("player", "player"), ("audience", "audience")])
def test_the_perspective_of_the_set_is_told_to_the_check(
    stated: str, told: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    asked: dict[str, Any] = {}

    def check(*_: Any, **options: Any) -> VerifyReport:
        asked.update(options)
        return VerifyReport(passed=True)

    monkeypatch.setattr(jobs, "verify_set_in_child", check)
    checked(("KickIn.wav", sound(1)), delivery=make_delivery(perspective=stated))
    assert (asked["perspective"], asked["labels"]) == (told, {})


def test_a_file_is_checked_as_the_channel_that_the_drummer_says_and_the_sheet_names_it() -> None:
    delivery = make_delivery()
    heads = signals.snare_heads()
    for name, channel, samples in (("A1.wav", "SnTop", heads.first), ("A2.wav", "SnBot", heads.second)):
        make_track(delivery=delivery, name=name, content=wav_bytes(samples), channel=channel)
    delivery = checked(delivery=delivery)
    (polarity,) = [check for check in delivery.checks if check["code"] == "polarity"]
    assert "expected" in polarity["message"]  # the other head moves the other way (D-24)
    assert [track_of(file).channel for file in delivery.files.all()] == ["snare, top", "snare, bottom"]
