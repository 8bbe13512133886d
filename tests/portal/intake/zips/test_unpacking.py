"""Zips through the portal: what becomes of them, what the client reads, and what a killed worker leaves."""

from __future__ import annotations

import hashlib
import shutil
import stat
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from django.conf import settings as django_settings
from django.core.files.storage import default_storage
from django.db import connection
from django.test.utils import CaptureQueriesContext
from pytest_django import DjangoCaptureOnCommitCallbacks
from pytest_django.fixtures import Settings

from portal.bookings.models import Song
from portal.bookings.stages import SongStage
from portal.intake import tasks
from portal.intake.checks import jobs
from portal.intake.files import store_cleanup
from portal.intake.files.waiting import awaited_of
from portal.intake.models import SentZip, SourceFile
from portal.intake.zips import contents as zip_contents
from portal.intake.zips import unpacking
from portal.people.models import User
from portal.uploads import originals
from portal.uploads.errors import NoRoomError
from tests.factories import make_client, make_sent_zip, make_song, make_source, store_content
from tests.portal.intake.made_zips import DEFLATED, raw_zip, with_zip64, zipped, zipped_through_a_pipe
from tests.portal.intake.sending import wav

pytestmark = pytest.mark.django_db
STEMS = (("Stems/bass.wav", b"bass"), ("Stems/Drums/kick.wav", b"kick"), ("Stems/keys.wav", b"keys"))


@pytest.fixture(autouse=True)
def queue(monkeypatch: pytest.MonkeyPatch) -> list[int]:
    waiting: list[int] = []
    monkeypatch.setattr(tasks.survey_file, "delay", waiting.append)
    monkeypatch.setattr(tasks.measure_song, "delay", waiting.append)
    return waiting


@pytest.fixture
def song(client_user: User) -> Song:
    return make_song(client=client_user, stage=SongStage.CHECKING)


def unpack(song: Song, content: bytes) -> SentZip:
    sent = make_sent_zip(song=song, content=content)
    unpacking.unpack(sent.pk)
    sent.refresh_from_db()
    return sent


def stored(key: str) -> bytes:
    with default_storage.open(key) as file:
        content: bytes = file.read()
    return content


def contents(song: Song) -> dict[str, bytes]:
    return {
        "/".join(filter(None, [source.folder, source.name])): stored(source.key) for source in song.sources.current()
    }


def stored_objects() -> list[str]:
    store = Path(default_storage.path("originals"))
    return sorted(path.name for path in store.rglob("*") if path.is_file())


@pytest.mark.parametrize("pack", [zipped, zipped_through_a_pipe])
def test_its_files_become_source_files_without_the_folder_that_all_lie_in(song: Song, pack: object) -> None:
    sent = unpack(song, pack(*STEMS))  # type: ignore[operator]

    assert contents(song) == {"bass.wav": b"bass", "Drums/kick.wav": b"kick", "keys.wav": b"keys"}
    assert (sent.state, sent.notes) == (SentZip.State.UNPACKED, [])
    assert "unpacked “stems.zip”: 3 files" in song.timeline.values_list("text", flat=True)
    assert not list(Path(django_settings.UPLOAD_DIR).iterdir())


def test_unpacked_twice_there_are_no_double_files(song: Song) -> None:
    sent = unpack(song, zipped(*STEMS))
    for _ in range(2):
        unpacking.unpack(sent.pk)
        unpacking.finish(sent.pk, [], [], refusal="late")
    assert song.sources.count() == 3
    assert SentZip.objects.get().state == SentZip.State.UNPACKED


def test_a_worker_that_is_killed_in_the_middle_leaves_what_another_finishes(
    song: Song, monkeypatch: pytest.MonkeyPatch
) -> None:
    class KilledError(BaseException):
        """Nothing that our code could catch."""

    sent = make_sent_zip(song=song, content=zipped(*STEMS))
    with monkeypatch.context() as patched:
        calls: list[str] = []

        def store_one_then_die(*args: object, **options: str) -> None:
            if calls:
                raise KilledError
            calls.append(options["key"])
            real(*args, **options)  # type: ignore[arg-type]

        real = originals.store
        patched.setattr(originals, "store", store_one_then_die)
        patched.setattr(shutil, "rmtree", lambda *_, **__: None)  # the folder stays behind, as after a kill
        with pytest.raises(KilledError):
            unpacking.unpack(sent.pk)
    assert song.sources.count() == 0
    assert len(stored_objects()) == 2  # the zip, and the one file that was through
    its_worker_is_dead()

    unpacking.unpack(sent.pk)

    assert contents(song) == {"bass.wav": b"bass", "Drums/kick.wav": b"kick", "keys.wav": b"keys"}
    assert len(stored_objects()) == 4
    assert not list(Path(django_settings.UPLOAD_DIR).iterdir())


def test_one_that_kills_every_worker_is_given_up(song: Song) -> None:
    sent = make_sent_zip(song=song, content=zipped(*STEMS), tries=unpacking.MOST_TRIES)
    unpacking.unpack(sent.pk)
    sent.refresh_from_db()
    assert (sent.state, sent.refusal) == (SentZip.State.REFUSED, unpacking.NO_LUCK)


def test_the_sweep_finds_a_zip_that_no_queue_said(song: Song, monkeypatch: pytest.MonkeyPatch) -> None:
    asked: list[int] = []
    monkeypatch.setattr(tasks.unpack_zip, "delay", asked.append)
    sent = make_sent_zip(song=song, content=zipped(*STEMS))
    jobs.sweep()
    assert asked == []
    SentZip.objects.update(received_at=sent.received_at - 2 * jobs.SURVEY_LEFT_AFTER)
    jobs.sweep()
    assert asked == [sent.pk]


def test_the_song_is_not_measured_before_all_is_unpacked(
    song: Song, django_capture_on_commit_callbacks: DjangoCaptureOnCommitCallbacks, queue: list[int]
) -> None:
    make_source(song=song)
    make_sent_zip(song=song, content=zipped(*STEMS))
    assert awaited_of(song)
    jobs.measure(song.pk)
    assert not song.checks.exists()
    with django_capture_on_commit_callbacks(execute=True):
        unpacking.unpack(SentZip.objects.get().pk)
    assert sorted(queue) == sorted(song.sources.filter(status="received").values_list("pk", flat=True))


class TestToldInTheClientsWords:
    def test_junk_is_left_out_in_one_line(self, song: Song) -> None:
        sent = unpack(song, zipped(*STEMS, ("__MACOSX/Stems/._bass.wav", b"x"), ("Stems/.DS_Store", b"x")))
        assert len(contents(song)) == 3
        assert sent.notes == ["Left out: 2 files with system or program data (._bass.wav, .DS_Store)."]

    def test_what_a_program_left_beside_a_file_is_left_out_of_the_store_too(self, song: Song) -> None:
        beside = b"a drawn waveform"
        sent = unpack(song, zipped(*STEMS, ("Stems/bass.wav.drawn", beside), ("Stems/notes.drawn", b"meant")))
        assert len(contents(song)) == 4
        assert sent.notes == ["Left out: 1 file with system or program data (bass.wav.drawn)."]
        assert not default_storage.exists(originals.key_for(hashlib.sha256(beside).hexdigest()))

    def test_a_zip_in_the_zip_is_not_opened(self, song: Song) -> None:
        """The recursive kind, five zips deep, each of sixteen, blows up only for whoever opens the inner ones."""
        inner = zipped(("0.dll", bytes(10_000)))
        for _ in range(5):
            inner = zipped(*((f"lib {number}.zip", inner) for number in range(16)))
        sent = unpack(song, inner)
        assert contents(song) == {}
        assert (sent.state, sent.refusal) == (SentZip.State.REFUSED, unpacking.NOTHING)
        assert len(sent.notes) == 16
        assert sent.notes[3] == "“lib 3.zip” is a zip inside the zip. Please send it on its own."

    def test_a_locked_entry(self, song: Song) -> None:
        sent = unpack(song, raw_zip((b"bass.wav", b"bass"), flags=0x1))
        assert sent.notes == ["“bass.wav” is locked with a password. Please send it without one."]

    def test_a_link_is_never_followed(self, song: Song) -> None:
        sent = unpack(song, raw_zip((b"bass.wav", b"/etc/passwd"), mode=stat.S_IFLNK | 0o777))
        assert sent.notes == ["“bass.wav” is only a link to a file elsewhere. Please send the file itself."]
        assert contents(song) == {}

    def test_a_device(self, song: Song) -> None:
        sent = unpack(song, raw_zip((b"bass.wav", b""), mode=stat.S_IFCHR | 0o666))
        assert sent.notes == ["“bass.wav” is not a file."]

    def test_a_path_that_leads_out(self, song: Song, tmp_path: Path) -> None:
        sent = unpack(song, zipped(("../../outside.wav", b"out"), ("/keys.wav", b"keys")))
        assert contents(song) == {"keys.wav": b"keys"}
        assert sent.notes[0].startswith("“outside.wav” has a path that leads out of the zip")
        assert not list(tmp_path.parent.rglob("outside.wav"))

    def test_another_way_of_packing(self, song: Song) -> None:
        """Deflate64 (APPNOTE 4.4.5: 9), which one system writes for files over 2 GB."""
        sent = unpack(song, raw_zip((b"bass.wav", b"bass"), method=9))
        assert sent.notes[0].startswith("“bass.wav” uses a compression method that we do not support.")

    def test_a_damaged_entry_costs_only_itself(self, song: Song) -> None:
        content = zipped(*STEMS, method=0).replace(b"kick", b"kiCk")
        sent = unpack(song, content.replace(b"kiCk.wav", b"kick.wav"))
        assert set(contents(song)) == {"bass.wav", "keys.wav"}
        assert sent.notes == ["“kick.wav” is damaged. Please send it again."]

    def test_a_name_in_no_known_alphabet(self, song: Song) -> None:
        sent = unpack(song, raw_zip((b"f\x81r.wav", b"bass")))
        assert contents(song) == {"für.wav": b"bass"}
        assert sent.notes == ["“für.wav”: the zip does not say how this name is encoded."]

    def test_one_name_twice(self, song: Song) -> None:
        files = [(b"kick.wav", b"one"), (b"kick.wav", b"two"), (b"kick.wav", b"one"), (b"Kick.wav", b"three")]
        sent = unpack(song, raw_zip(*files))
        assert contents(song) == {"kick.wav": b"one", "kick (2).wav": b"two", "Kick (3).wav": b"three"}
        assert sent.notes == [
            "“kick.wav” is in the zip twice; the second was renamed to “kick (2).wav”.",
            "“kick.wav” is in the zip twice with the same content; one copy was used.",
            "“Kick.wav” is in the zip twice; the second was renamed to “Kick (3).wav”.",
        ]


class TestCutOff:
    @pytest.mark.parametrize("pack", [zipped, zipped_through_a_pipe])
    def test_what_can_be_read_is_kept_and_the_rest_is_said(self, song: Song, pack: object) -> None:
        content = pack(("a.wav", wav()), ("b.wav", wav()[::-1]), ("c.wav", wav()))  # type: ignore[operator]
        sent = unpack(song, content[: content.rindex(b"c.wav", 0, content.index(b"PK\x01\x02")) + 1_000])
        assert contents(song) == {"a.wav": wav(), "b.wav": wav()[::-1]}
        assert sent.notes == [
            "The end of this zip is missing: 2 files could be read. If there were more, please send them again.",
            "“c.wav” is cut off. Please send it again.",
        ]

    def test_entries_that_are_not_taken_are_stepped_over(self, song: Song) -> None:
        content = raw_zip((b".DS_Store", b"junk"), (b"more.zip", b"zip"), (b"folder/", b""), (b"bass.wav", b"bass"))
        unpack(song, content[: content.index(b"PK\x01\x02")])
        assert contents(song) == {"bass.wav": b"bass"}

    def test_a_file_that_is_no_zip_at_all(self, song: Song) -> None:
        assert unpack(song, b"RIFF and so on").refusal == unpacking.NOTHING

    def test_not_more_than_a_zip_may_hold(self, song: Song, settings: Settings) -> None:
        settings.MOST_FILES_IN_ZIP = 2
        content = raw_zip(*((b"%d.wav" % number, b"%d" % number) for number in range(4)))
        unpack(song, content[: content.index(b"PK\x01\x02")])
        assert len(contents(song)) == 2


class TestLimits:
    def test_too_large_by_its_own_word_is_refused_before_a_byte_is_unpacked(
        self, song: Song, settings: Settings
    ) -> None:
        settings.LARGEST_UNPACKED_BYTES = 10
        sent = unpack(song, zipped(*STEMS))
        assert sent.refusal.startswith("It unpacks to more than the 10")
        assert len(stored_objects()) == 1

    def test_too_large_without_saying_so_leaves_nothing(self, song: Song, settings: Settings) -> None:
        settings.LARGEST_UNPACKED_BYTES = 10
        content = zipped_through_a_pipe(*STEMS)
        sent = unpack(song, content[: content.index(b"PK\x01\x02")])
        assert sent.refusal.startswith("It unpacks to more than the 10")
        assert stored_objects() == [sent.sha256]

    def test_what_came_out_of_zips_counts_against_the_booking_s_limit(self, song: Song, settings: Settings) -> None:
        settings.LARGEST_BOOKING_BYTES = 20
        unpack(song, zipped(*STEMS))
        sent = unpack(song, zipped(("a.wav", b"nine more")))
        assert sent.refusal.startswith("It unpacks to more than the 8")
        assert len(contents(song)) == 3

    def test_too_many(self, song: Song, settings: Settings) -> None:
        settings.MOST_FILES_IN_ZIP = 2
        assert unpack(song, zipped(*STEMS)).refusal.startswith("It holds more than 2 files.")

    def test_entries_that_share_their_bytes(self, song: Song) -> None:
        """The kind that blows up without recursion: every entry of the list points at the same data."""
        content = raw_zip((b"a.wav", bytes(5_000)), method=DEFLATED)
        list_at, end_at = content.index(b"PK\x01\x02"), content.index(b"PK\x05\x06")
        listed = content[list_at:end_at]
        end = bytearray(content[end_at:])
        end[8:12] = (50).to_bytes(2, "little") * 2
        end[12:16] = (50 * len(listed)).to_bytes(4, "little")
        sent = unpack(song, content[:list_at] + listed * 50 + bytes(end))
        assert sent.refusal.startswith("Its files overlap")
        assert contents(song) == {}

    def test_without_room_it_waits(self, song: Song, monkeypatch: pytest.MonkeyPatch) -> None:
        def no_room(_total: int, _largest: int) -> None:
            raise NoRoomError("full")

        sent = make_sent_zip(song=song, content=zipped(*STEMS))
        with monkeypatch.context() as patched:
            patched.setattr(unpacking, "check_room", no_room)
            for _ in range(5):
                unpacking.unpack(sent.pk)
                its_worker_is_dead()
        unpacking.unpack(sent.pk)
        assert len(contents(song)) == 3


class TestVersions:
    def test_a_second_zip_brings_new_bounces_of_the_same_files_only(self, song: Song) -> None:
        unpack(song, zipped(*STEMS))
        unpack(song, zipped(("New/bass.wav", b"bass 2"), ("New/Drums/kick.wav", b"kick"), ("New/gtr.wav", b"gtr")))
        assert [(source.name, source.version) for source in song.sources.current().order_by("name", "pk")] == [
            ("bass.wav", 2),
            ("gtr.wav", 1),
            ("keys.wav", 1),
            ("kick.wav", 1),
            ("kick.wav", 1),
        ]
        assert "sent a new version of “bass.wav” (6 bytes): version 2" in song.timeline.values_list("text", flat=True)

    def test_one_name_in_two_folders_is_two_files(self, song: Song) -> None:
        unpack(song, zipped(("Drums/kick.wav", b"one"), ("Loops/kick.wav", b"two")))
        assert contents(song) == {"Drums/kick.wav": b"one", "Loops/kick.wav": b"two"}


def test_content_that_somebody_else_has_too_stays_when_a_zip_is_not_taken(song: Song, settings: Settings) -> None:
    sha256 = store_content(b"bass")
    make_source(song=make_song(client=make_client()), sha256=sha256, key=originals.key_for(sha256))
    settings.LARGEST_UNPACKED_BYTES = 6
    content = zipped_through_a_pipe(*STEMS)
    unpack(song, content[: content.index(b"PK\x01\x02")])
    assert sha256 in stored_objects()
    assert not store_cleanup.clear(key=originals.key_for(sha256), sha256=sha256)


def test_content_that_was_cleared_away_meanwhile_is_unpacked_anew(song: Song, monkeypatch: pytest.MonkeyPatch) -> None:
    sent = make_sent_zip(song=song, content=zipped(*STEMS))
    with monkeypatch.context() as patched:
        patched.setattr(originals, "store", lambda *_, **__: None)
        with pytest.raises(FileNotFoundError):
            unpacking.unpack(sent.pk)
    assert not song.sources.exists()
    unpacking.unpack(sent.pk)
    assert len(contents(song)) == 3


def test_a_busy_zip_is_left_to_whoever_is_at_it(song: Song) -> None:
    sent = make_sent_zip(song=song, content=zipped(*STEMS))
    assert SentZip.objects.claim(sent.pk)
    tasks.unpack_zip(sent.pk)
    assert not song.sources.exists()
    its_worker_is_dead()
    tasks.unpack_zip(sent.pk)
    assert song.sources.count() == 3


def its_worker_is_dead() -> None:
    """For longer than a claim lasts."""
    jobs.let_go_all(files=False, zips=True)


def test_source_files_of_a_zip_know_where_they_came_from(song: Song) -> None:
    sent = unpack(song, zipped(*STEMS))
    source = SourceFile.objects.get(name="kick.wav")
    assert (source.zip, source.sent_by) == (sent, sent.sent_by)
    assert stored(sent.key) == zipped(*STEMS)


class TestManyOfOneName:
    """A zip of 91 KB may hold a thousand entries with one name, each with other content."""

    def test_they_are_numbered_in_one_go(self, song: Song) -> None:
        contents = zip_contents.Contents(make_sent_zip(song=song), Path(), lambda *_: None)
        began = time.process_time()
        for number in range(2_000):
            contents.add(zip_contents.Kept(number, "hat.wav", (), f"{number:064x}", "", 1))
        # 2,000 steps of a few microseconds; one that looked at all earlier names for each would take minutes.
        assert time.process_time() - began < 1
        assert {one.name for one in contents.kept} == {"hat.wav", *(f"hat ({n}).wav" for n in range(2, 2_001))}

    def test_a_name_that_is_counted_on_leaves_out_what_is_taken(self, song: Song) -> None:
        names = (b"x.wav", b"x (2).wav", b"x.wav", b"x.wav")
        sent = unpack(song, raw_zip(*((name, b"%d" % at) for at, name in enumerate(names))))
        assert contents(song) == {"x.wav": b"0", "x (2).wav": b"1", "x (3).wav": b"2", "x (4).wav": b"3"}
        assert len(sent.notes) == 2

    def test_a_numbered_name_is_no_longer_than_a_name_may_be(self, song: Song) -> None:
        name = b"a" * 251 + b".wav"
        unpack(song, raw_zip((name, b"1"), (name, b"2")))
        assert sorted(len(key) for key in contents(song)) == [255, 255]
        assert any(key.endswith("a (2).wav") for key in contents(song))

    def test_no_report_is_loaded_to_place_them(self, song: Song) -> None:
        make_source(song=song, name="old.wav", report={"engine": "x"})
        with CaptureQueriesContext(connection) as queries:
            unpack(song, zipped(*((f"{number}.wav", b"%d" % number) for number in range(20))))
        read = [query["sql"] for query in queries if query["sql"].startswith("SELECT")]
        assert not [sql for sql in read if '"intake_sourcefile"."report"' in sql]

    def test_their_rows_are_written_in_short_pieces(self, song: Song, monkeypatch: pytest.MonkeyPatch) -> None:
        monkeypatch.setattr(unpacking, "ROWS_FOR_S", 0.0)
        pieces: list[int] = []
        real = unpacking.add_some

        def add_some(*arguments: Any) -> int:
            pieces.append(real(*arguments))
            assert awaited_of(song)  # no check of the song begins in between
            return pieces[-1]

        monkeypatch.setattr(unpacking, "add_some", add_some)
        unpack(song, zipped(*STEMS))
        assert pieces == [1, 1, 1]
        assert len(contents(song)) == 3

    def test_a_worker_that_is_killed_between_two_pieces_leaves_what_another_finishes(
        self, song: Song, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        sent = make_sent_zip(song=song, content=zipped(*STEMS))
        with monkeypatch.context() as patched:
            patched.setattr(unpacking, "ROWS_FOR_S", 0.0)
            patched.setattr(unpacking, "add_some", dies_after(1, unpacking.add_some))
            with pytest.raises(KeyboardInterrupt):
                unpacking.unpack(sent.pk)
        assert song.sources.count() == 1
        its_worker_is_dead()

        unpacking.unpack(sent.pk)

        assert contents(song) == {"bass.wav": b"bass", "Drums/kick.wav": b"kick", "keys.wav": b"keys"}
        assert song.sources.count() == 3

    def test_when_no_try_gets_through_what_came_stays_and_the_rest_is_asked_for(self, song: Song) -> None:
        sent = make_sent_zip(song=song, content=zipped(*STEMS))
        make_source(song=song, name="bass.wav", zip=sent, zip_entry=0)
        SentZip.objects.filter(pk=sent.pk).update(tries=unpacking.MOST_TRIES)
        unpacking.unpack(sent.pk)
        sent.refresh_from_db()
        assert sent.state == SentZip.State.UNPACKED
        assert sent.notes == ["Only 1 file of this zip could be unpacked. Please send the others again."]


def dies_after(calls: int, real: Callable[..., int]) -> Callable[..., int]:
    left = iter(range(calls))

    def call(*arguments: Any) -> int:
        if next(left, None) is None:
            raise KeyboardInterrupt
        return real(*arguments)

    return call


class TestNumbersThatNoFileHas:
    """A zip64 field (APPNOTE 4.5.3) holds 64 bits: offsets and lengths that cannot be sought."""

    @pytest.mark.parametrize("most", [2**63 - 1, 2**63, 2**64 - 1])
    def test_an_offset_past_every_end_is_a_sentence(self, song: Song, most: int) -> None:
        sent = unpack(song, with_zip64(b"a.wav", b"sound", offset=most))
        assert (sent.state, sent.refusal) == (SentZip.State.REFUSED, unpacking.NOTHING)
        assert sent.notes == ["“a.wav” is not where the list of contents says. Please send it again."]

    @pytest.mark.parametrize("most", [2**63 - 1, 2**64 - 1])
    def test_a_packed_length_past_every_end_is_a_sentence(self, song: Song, most: int) -> None:
        sent = unpack(song, with_zip64(b"a.wav", b"sound", packed=most))
        assert (sent.state, sent.notes) == (SentZip.State.REFUSED, ["“a.wav” is cut off. Please send it again."])

    def test_it_is_so_without_a_list_of_contents_too(self, song: Song) -> None:
        content = with_zip64(b"a.wav", b"sound", packed=2**64 - 1)
        sent = unpack(song, content[: content.index(b"PK\x01\x02")])
        assert sent.state == SentZip.State.REFUSED
        assert "“a.wav” is cut off. Please send it again." in sent.notes


class TestRoom:
    def test_the_whole_unpacked_size_has_to_fit_where_it_will_lie(
        self, song: Song, monkeypatch: pytest.MonkeyPatch, settings: Settings
    ) -> None:
        """Ten files of 1 MB, each with room, all together without: not a byte of them is written."""
        settings.UPLOAD_DISK_RESERVE_BYTES = settings.LARGEST_UPLOAD_BYTES = 2 * 10**6
        free = shutil.disk_usage("/")._replace(free=11 * 10**6)
        monkeypatch.setattr(shutil, "disk_usage", lambda _folder: free)
        sent = unpack(song, zipped(*((f"{number}.wav", bytes(10**6)) for number in range(10))))
        assert (sent.state, sent.tries) == (SentZip.State.RECEIVED, 0)
        assert len(stored_objects()) == 1

    def test_a_disk_that_fills_up_meanwhile_stops_it(self, song: Song, monkeypatch: pytest.MonkeyPatch) -> None:
        monkeypatch.setattr(zip_contents, "LOOK_EVERY_BYTES", 10)
        asked: list[tuple[int, int]] = []

        def room_at_first(total: int, largest: int) -> None:
            asked.append((total, largest))
            if total == 0:
                raise NoRoomError("full")

        monkeypatch.setattr(unpacking, "check_room", room_at_first)
        sent = unpack(song, zipped(("a.wav", bytes(8)), ("b.wav", bytes(9))))
        assert asked == [(17, 9), (0, 0)]
        assert sent.state == SentZip.State.RECEIVED
