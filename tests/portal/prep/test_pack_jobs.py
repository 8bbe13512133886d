"""Session packs from their asking to their clearing. What is in one is checked with none of the portal's code."""

from __future__ import annotations

import errno
import hashlib
import io
import zipfile
from collections.abc import Callable
from datetime import timedelta
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import soundfile
from django.core.files.storage import default_storage
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from analysis import sandbox
from analysis.core.errors import UnusableFileError
from analysis.maps.midi import read_midi
from analysis.maps.tempo_map import TempoMap
from analysis.session.conform import ConformedFile, conform_file
from analysis.session.timeline import Timeline, plan_session
from portal import making
from portal.bookings.models import Song
from portal.charts.jobs import engrave_version
from portal.intake.models import SourceFile
from portal.prep import pack_jobs, tasks
from portal.prep.errors import PrepError
from portal.prep.models import HousePrep, SessionPack
from portal.prep.pack_zip import zip_of
from portal.prep.services import ask_pack
from portal.uploads import originals
from tests.factories import make_chart_version, make_map, make_source
from tests.portal.prep.songs import make_packable, noise, store_sound
from tests.proof.pack import prove

pytestmark = pytest.mark.django_db

State = SessionPack.State


@pytest.fixture
def in_this_process(monkeypatch: pytest.MonkeyPatch) -> None:
    """The same work without children, for tests that are not about them: a tenth of the time."""

    def conform(path: Path, to: Path, *rest: Any, channels: int, **names: Any) -> ConformedFile:
        return conform_file(path, to, *rest, **names, out=to.name)

    def plan(paths: list[Path], *, map: dict[str, Any], **rest: Any) -> Timeline:  # noqa: A002
        return plan_session(paths, TempoMap.from_json(map), rest["settings"], lengths_s=rest["lengths_s"])

    monkeypatch.setattr(pack_jobs, "conform_in_child", conform)
    monkeypatch.setattr(pack_jobs, "plan_session_in_child", plan)


def asked(song: Song) -> SessionPack:
    return ask_pack(song=song, by=song.booking.created_by)


def clear_old() -> None:
    for pack in pack_jobs.old_packs():
        pack_jobs.clear(pack)


def made(song: Song) -> SessionPack:
    pack = asked(song)
    tasks.make_pack(pack.pk)
    pack.refresh_from_db()
    return pack


def zip_bytes(pack: SessionPack) -> bytes:
    zipped = zip_of(pack)
    assert zipped is not None
    return b"".join(zipped[0].read(0, zipped[0].length_bytes))


def unpacked(pack: SessionPack, folder: Path) -> Path:
    with zipfile.ZipFile(io.BytesIO(zip_bytes(pack))) as packed:
        assert packed.testzip() is None
        packed.extractall(folder)
    return next(folder.rglob("SHA256SUMS")).parent


def test_files_of_every_kind_in_one_pack_pass_the_outside_check(tmp_path: Path) -> None:
    """44.1 and 96 kHz in one song, a mono click of the client's, six channels."""
    song = make_packable(files=1)
    store_sound(song, "keys.wav", noise(sample_rate_hz=44_100, channels=2), 44_100)
    store_sound(song, "amb.wav", noise(sample_rate_hz=96_000, channels=6), 96_000)
    store_sound(song, "click.wav", noise(1.0))
    HousePrep.objects.create(pk=1, clock_start_h=1, sample_rate_hz=48_000)
    pack = made(song)
    root = unpacked(pack, tmp_path)

    assert (pack.state, pack.files_done, pack.files_total) == (State.MADE, 4, 4)
    assert [(check, sentence) for check, passed, sentence in prove(root) if not passed] == []
    names = sorted(path.name for path in (root / "audio").iterdir())
    assert names == [
        f"MK_ColdBusUnder_D{number}v1_{part}_48k_24.wav".replace(f"D{number}", names[0].split("_")[2][:-2])
        for number, part in enumerate(("Amb", "Click", "Keys", "SessionClick", "Stem1"))
    ]
    stem = soundfile.read(next((root / "audio").glob("*Stem1*")))[0]
    # Bar one at two bars of 15/7 s, less the half second that it has in the file (arithmetic): frame 181 714.
    assert np.array_equal(stem[181_714 : 181_714 + 144_000], noise()[:, 0])


@pytest.mark.usefixtures("in_this_process")
def test_pressed_twice_it_is_one_and_the_same_inputs_are_the_same_zip() -> None:
    song = make_packable()
    pack = made(song)
    first = zip_bytes(pack)

    assert asked(song) == pack
    pack_jobs.clear(pack)
    again = made(song)
    assert again.pk != pack.pk
    assert zip_bytes(again) == first


@pytest.mark.usefixtures("in_this_process")
def test_a_killed_worker_is_followed_by_one_that_goes_on(monkeypatch: pytest.MonkeyPatch) -> None:
    """Killed in the second of three files, twice: each is conformed as often as it has to be, and the zip is whole."""
    song = make_packable(files=3)
    whole = zip_bytes(made(song))
    pack_jobs.clear(SessionPack.objects.get())
    conform, seen = sandbox.conform_in_child, []

    def die_at_the_second(path: Path, *rest: Any, **names: Any) -> Any:
        seen.append(names["name"])
        if names["name"] == "stem 2.wav" and seen.count("stem 2.wav") < 3:
            raise KeyboardInterrupt
        return conform(path, *rest, **names)

    monkeypatch.setattr(pack_jobs, "conform_in_child", die_at_the_second)
    pack = asked(song)
    for _ in range(2):
        with pytest.raises(KeyboardInterrupt):
            pack_jobs.make_pack(pack.pk)
        pack.refresh_from_db()
        assert (pack.state, pack.files_done, zip_of(pack)) == (State.MAKING, 1, None)
    pack_jobs.make_pack(pack.pk)
    pack.refresh_from_db()

    assert seen == ["stem 1.wav", "stem 2.wav", "stem 2.wav", "stem 2.wav", "stem 3.wav"]
    assert zip_bytes(pack) == whole


def test_a_file_that_stops_every_worker_ends_the_tries() -> None:
    pack = asked(make_packable(files=1))
    SessionPack.objects.update(tries=making.MOST_TRIES)
    pack_jobs.make_pack(pack.pk)
    pack.refresh_from_db()

    assert (pack.state, pack.trouble) == (State.FAILED, pack_jobs.STOPPED)


def approve_anew(song: Song) -> None:
    make_map(song=song, bpm=113.0, bar_one_s=0.5)


def replace_a_file(song: Song) -> None:
    song.sources.get(name="stem 2.wav").leave(SourceFile.Left.REMOVED)


@pytest.mark.usefixtures("in_this_process")
@pytest.mark.parametrize("change", [approve_anew, replace_a_file])
def test_what_changes_while_it_is_made_ends_it(monkeypatch: pytest.MonkeyPatch, change: Callable[[Song], None]) -> None:
    song = make_packable()
    conform = sandbox.conform_in_child

    def change_then_conform(*rest: Any, **names: Any) -> Any:
        change(song)
        return conform(*rest, **names)

    pack = asked(song)
    monkeypatch.setattr(pack_jobs, "conform_in_child", change_then_conform)
    pack_jobs.make_pack(pack.pk)
    pack.refresh_from_db()

    assert (pack.state, pack.trouble, zip_of(pack)) == (State.FAILED, pack_jobs.CHANGED, None)
    monkeypatch.undo()
    assert made(song).state == State.MADE


def test_without_room_it_is_refused_before_it_begins(monkeypatch: pytest.MonkeyPatch) -> None:
    class Full:
        free = 0

    monkeypatch.setattr("portal.prep.room.shutil.disk_usage", lambda _: Full)
    with pytest.raises(PrepError, match=r"no room for this pack: it needs \d.* Nothing was made"):
        asked(make_packable())
    assert not SessionPack.objects.exists()


def test_room_that_went_while_it_waited_is_said(monkeypatch: pytest.MonkeyPatch) -> None:
    class Full:
        free = 0

    pack = asked(make_packable())
    monkeypatch.setattr("portal.prep.room.shutil.disk_usage", lambda _: Full)
    pack_jobs.make_pack(pack.pk)
    pack.refresh_from_db()

    assert pack.state == State.FAILED
    assert "no room" in pack.trouble


def test_what_cannot_be_used_is_left_out_and_named(tmp_path: Path) -> None:
    song = make_packable()
    same = song.sources.get(name="stem 1.wav")
    make_source(song=song, name="copy.wav", sha256=same.sha256, key=same.key, report=same.report)
    make_source(song=song, name="notes.txt", status="refused", refusal="This is no sound.", report=None)
    silent = store_sound(song, "pad.wav", noise() * 0)
    silent.report = (silent.report or {}) | {"is_silent": True}
    silent.save()
    broken = store_sound(song, "broken.wav", noise(seed=9))
    default_storage.delete(broken.key)
    with Path(default_storage.path(broken.key)).open("wb") as file:
        file.write(b"RIFF")
    pack = made(song)
    page = (unpacked(pack, tmp_path) / "about-this-pack.html").read_text("utf-8")

    assert pack.state == State.MADE
    assert [name for name, _, _ in pack.left_out] == ["broken.wav"]
    for sentence in ("the same file as “stem 1.wav”", "This is no sound.", "silent from beginning", "“broken.wav”"):
        assert sentence in page


def no_map(song: Song) -> None:
    song.maps.all().delete()


def no_files(song: Song) -> None:
    song.sources.all().delete()


def a_file_on_its_way(song: Song) -> None:
    make_source(song=song, status="received", report=None)


def booking_over(song: Song) -> None:
    song.booking.stage = "closed"


@pytest.mark.parametrize(
    ("harm", "sentence"),
    [
        (no_map, "no approved tempo map"),
        (no_files, "No file"),
        (a_file_on_its_way, "still being measured"),
        (booking_over, "is over"),
    ],
)
def test_what_keeps_a_pack_from_being_made_is_said(harm: Callable[[Song], None], sentence: str) -> None:
    song = make_packable(files=1)
    harm(song)
    with pytest.raises(PrepError, match=sentence):
        asked(song)


@pytest.mark.usefixtures("in_this_process")
def test_packs_are_cleared_away_and_originals_never() -> None:
    song = make_packable()
    pack, days = made(song), HousePrep.get().keep_packs_days
    keys = [member["key"] for member in pack.members.values()]
    clear_old()
    assert all(default_storage.exists(key) for key in keys)

    SessionPack.objects.update(made_at=timezone.now() - timedelta(days=days, minutes=1))
    tasks.sweep()
    pack.refresh_from_db()
    assert (pack.state, zip_of(pack)) == (State.CLEARED, None)
    assert not any(default_storage.exists(key) for key in keys)
    assert not default_storage.exists(f"packs/{pack.pk}")
    for source in song.sources.all():
        with default_storage.open(source.key) as original:
            assert hashlib.sha256(original.read()).hexdigest() == source.sha256


@pytest.mark.usefixtures("in_this_process")
def test_a_replaced_pack_stays_for_a_day_and_one_of_removed_originals_goes() -> None:
    song = make_packable(files=1)
    older = made(song)
    approve_anew(song)
    newer = made(song)
    clear_old()
    assert set(SessionPack.objects.filter(state=State.MADE)) == {older, newer}
    SessionPack.objects.update(made_at=timezone.now() - pack_jobs.REPLACED_STAYS_FOR - timedelta(minutes=1))
    clear_old()
    assert set(SessionPack.objects.filter(state=State.MADE)) == {newer}
    song.sources.get().be_gone()
    clear_old()
    assert not SessionPack.objects.filter(state=State.MADE).exists()


@pytest.mark.usefixtures("in_this_process")
def test_a_failed_pack_leaves_nothing_in_the_store(monkeypatch: pytest.MonkeyPatch) -> None:
    song = make_packable()
    pack = asked(song)
    monkeypatch.setattr(pack_jobs, "_finish", lambda *_: (_ for _ in ()).throw(PrepError("stopped")))
    pack_jobs.make_pack(pack.pk)
    assert default_storage.listdir(f"packs/{pack.pk}")[1]
    clear_old()
    pack.refresh_from_db()

    assert (pack.state, pack.trouble, pack.members) == (State.FAILED, "stopped", {})
    assert not default_storage.exists(f"packs/{pack.pk}")


def test_the_sweep_finds_packs_that_nobody_makes(monkeypatch: pytest.MonkeyPatch) -> None:
    queued: list[int] = []
    monkeypatch.setattr(tasks.make_pack, "delay", queued.append)
    lost, _alive = asked(make_packable(files=1)), asked(make_packable(files=1))
    SessionPack.objects.filter(pk=lost.pk).update(began_at=timezone.now() - making.LEFT_AFTER - timedelta(seconds=1))
    tasks.sweep()
    assert queued == [lost.pk]


@pytest.mark.usefixtures("in_this_process")
def test_a_download_goes_on_at_any_byte(client: Client) -> None:
    """RFC 9110, 14: pieces from every place put together are the whole, byte for byte."""
    song = make_packable()
    pack = made(song)
    client.force_login(song.booking.created_by)
    address = reverse("prep:zip", args=[pack.pk])
    whole = b"".join(client.get(address))
    assert whole == zip_bytes(pack)

    place, got = 0, b""
    for step in (1, 29, 100, 4_095, 65_536, 300_001, len(whole)):
        response = client.get(address, headers={"Range": f"bytes={place}-{place + step - 1}"})
        assert response.status_code == 206
        got += b"".join(response)
        place += step
    assert got == whole


@pytest.mark.usefixtures("in_this_process")
def test_two_hundred_files_are_made_each_under_a_name_of_its_own(tmp_path: Path) -> None:
    """Seven names among them, at two rates; the outside check reads every one."""
    song = make_packable(files=1)
    HousePrep.objects.create(pk=1, sample_rate_hz=48_000)
    for number in range(199):
        rate_hz = (44_100, 48_000)[number % 2]
        sound = noise(0.2, seed=number + 1, sample_rate_hz=rate_hz)
        store_sound(song, f"take {number % 7}.wav", sound, rate_hz)
    pack = made(song)
    root = unpacked(pack, tmp_path)

    assert (pack.state, pack.files_done, pack.files_total, pack.left_out) == (State.MADE, 200, 200, [])
    assert len(list((root / "audio").iterdir())) == 201
    assert [(check, sentence) for check, passed, sentence in prove(root) if not passed] == []


def no_space(*_: Any, **__: Any) -> None:
    raise OSError(errno.ENOSPC, "No space left on device")


@pytest.mark.usefixtures("in_this_process")
def test_a_disk_that_becomes_full_is_said_and_nothing_is_offered(monkeypatch: pytest.MonkeyPatch) -> None:
    song = make_packable()
    monkeypatch.setattr(originals, "store", no_space)
    pack = made(song)

    assert (pack.state, pack.trouble, zip_of(pack)) == (State.FAILED, pack_jobs.FULL, None)
    monkeypatch.undo()
    assert made(song).state == State.MADE


class Child:
    """Fails `times` times, as one that was killed does, then conforms."""

    def __init__(self, times: int) -> None:
        self.times, self.conform = times, sandbox.conform_in_child

    def __call__(self, *given: Any, **names: Any) -> Any:
        self.times -= 1
        if self.times >= 0:
            raise UnusableFileError("made the decoder fail")
        return self.conform(*given, **names)


def test_a_child_that_was_killed_costs_no_file(monkeypatch: pytest.MonkeyPatch) -> None:
    song = make_packable(files=1)
    monkeypatch.setattr(pack_jobs, "conform_in_child", Child(times=1))
    pack = made(song)
    assert (pack.state, pack.left_out) == (State.MADE, [])


def test_a_child_that_finds_the_disk_full_leaves_no_file_out(monkeypatch: pytest.MonkeyPatch) -> None:
    class Full:
        free = 0

    def fill_then_fail(*_: Any, **__: Any) -> None:
        monkeypatch.setattr("portal.prep.room.shutil.disk_usage", lambda _: Full)
        raise UnusableFileError("made the decoder fail")

    song = make_packable(files=1)
    monkeypatch.setattr(pack_jobs, "conform_in_child", fill_then_fail)
    pack = made(song)
    assert (pack.state, pack.trouble, pack.left_out) == (State.FAILED, pack_jobs.FULL, [])


def test_the_engraved_chart_goes_along_and_a_newer_one_makes_the_pack_older(
    in_this_process: None, tmp_path: Path
) -> None:
    song = make_packable()
    engrave_version(make_chart_version(song=song).pk)
    pack = made(song)
    folder = unpacked(pack, tmp_path)
    names = sorted(path.name for path in folder.iterdir() if "_chart-v1" in path.name)
    assert [name.rsplit("_", 1)[1] for name in names] == ["chart-v1.musicxml", "a4.pdf", "letter.pdf"]
    lines = (folder / "SHA256SUMS").read_text().splitlines()
    hashes = {line[66:]: line[:64] for line in lines}
    for name in names:
        assert hashes[name] == hashlib.sha256((folder / name).read_bytes()).hexdigest()
    assert asked(song) == pack

    engrave_version(make_chart_version(song=song).pk)
    assert asked(song) != pack


def test_sections_of_a_chart_on_another_map_are_marked_where_they_are_in_time_and_the_pack_says_so(
    in_this_process: None, tmp_path: Path
) -> None:
    """Bars of 0.5 s; in the map in use bar one is one bar earlier, so that the chart's bars 1 and 5 are 2 and 6."""
    song = make_packable()
    made_on = make_map(song=song, bpm=480.0, bar_one_s=0.5)
    make_chart_version(song=song, approved_map=made_on)
    word = "The chart was made on tempo map 2, and map 3 counts."
    folder = unpacked(made(song), tmp_path / "before")
    assert "tempo map 2" not in (folder / "about-this-pack.html").read_text()
    make_map(song=song, bpm=480.0, bar_one_s=0.0)
    folder = unpacked(made(song), tmp_path / "after")
    assert word in (folder / "about-this-pack.html").read_text()
    assert "A Verse" in (folder / "cue-sheet.csv").read_text()
    markers = read_midi(folder / "tempo-map.mid").markers  # from bar one on
    assert [(one.bar, one.text) for one in markers if one.text != "bar one"] == [(2, "A Verse"), (6, "B Chorus")]
