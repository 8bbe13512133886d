"""The measuring itself, in a house of its own (`bench/speed/queues.py`)."""

from __future__ import annotations

import contextlib
import subprocess
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import numpy as np
from django.core.management import call_command

from portal.demo import broker, processes

RATE_HZ = 48_000
TINY_S, SMALL_S, LONG_S = 0.05, 5, 300
ZIP_FILES = 4
PACK_STEMS, PACK_STEM_S = 4, 600
A_ZIP = f"a zip of {ZIP_FILES} files"
PATIENCE_S = 3_600


def measure(tiny_files: int, data_dir: Path, socket_file: Path) -> None:
    from portal.people.models import House

    call_command("migrate", verbosity=0, interactive=False)
    House.get()
    House.objects.update(quiet_after_files_s=0)
    print(f"\nQueues: seconds until done, alone and behind {tiny_files} tiny files of another booking", flush=True)
    with running(broker.command(data_dir, socket_file)):
        until(lambda: broker.answers(socket_file))
        with contextlib.ExitStack() as workers:
            for part in processes.workers(small=False):
                workers.enter_context(running([*part.command]))
            delays(0)  # until every worker has started
            alone = delays(0)
            beside = delays(tiny_files)
            zip_s, pack_s = beside_a_pack()
    for what, delay_s in beside.items():
        print(f"  {what:<28}{alone[what]:8.1f} s alone{delay_s:10.1f} s beside them", flush=True)
    print(f"  {A_ZIP} beside a session pack, which took {pack_s:.1f} s: {zip_s:.1f} s", flush=True)


def beside_a_pack() -> tuple[float, float]:
    """Seconds until a zip is unpacked that comes while a session pack is being made, and until that is made."""
    from portal.prep.models import SessionPack
    from portal.prep.services import ask_pack
    from portal.queueing import queue_task
    from tests.portal.prep.songs import make_packable, noise, store_sound

    song = make_packable(files=0)
    for number in range(PACK_STEMS):
        store_sound(song, f"stem {number}.wav", noise(PACK_STEM_S, seed=number, channels=2))
    began = time.monotonic()
    pack = ask_pack(song=song, by=song.booking.created_by)
    until(lambda: SessionPack.objects.filter(pk=pack.pk, tries__gt=0).exists())
    sent, zip_began = sent_zip(packed_noises()), time.monotonic()
    queue_task("portal.intake.tasks.unpack_zip", sent)
    until(lambda: is_unpacked(sent), within_s=PATIENCE_S)
    zip_s = time.monotonic() - zip_began
    until(lambda: SessionPack.objects.filter(pk=pack.pk, state=SessionPack.State.MADE).exists(), within_s=PATIENCE_S)
    return zip_s, time.monotonic() - began


def delays(tiny_files: int) -> dict[str, float]:
    """All are queued behind the tiny files, in one moment; each is waited for."""
    from portal.lanes.models import PlayCopy
    from portal.mailroom.emails import letter
    from portal.mailroom.models import Mail
    from portal.queueing import queue_task

    small_sound, long_sound, zip_bytes = noises(1, SMALL_S), noises(1, LONG_S), packed_noises()
    for key in sent_files(noises(tiny_files, TINY_S)):
        queue_task("portal.intake.tasks.survey_file", key)
    # From here on: a worker that is free takes what the table holds, whether its task is queued or not.
    began = time.monotonic()
    mail = letter(to="a@example.com", subject="A new password", body="A link", key=f"bench:{time.monotonic()}")
    small, long = sent_files(small_sound), sent_files(long_sound)
    for key in (*small, *long):
        queue_task("portal.intake.tasks.survey_file", key)
    packed = sent_zip(zip_bytes)
    queue_task("portal.intake.tasks.unpack_zip", packed)
    waits: dict[str, Callable[[], bool]] = {
        "an e-mail": lambda: Mail.objects.filter(pk=mail.pk, state=Mail.State.SENT).exists(),
        A_ZIP: lambda: is_unpacked(packed),
        f"a file of {SMALL_S} s": lambda: is_measured(small[0]),
        f"a file of {LONG_S} s": lambda: is_measured(long[0]),
        "the check of its song": lambda: is_checked(long[0]),
        "a copy of it to play": lambda: PlayCopy.objects.filter(source=long[0], state=PlayCopy.State.MADE).exists(),
    }
    done: dict[str, float] = {}
    while len(done) < len(waits):
        for what, is_done in waits.items():
            if what not in done and is_done():
                done[what] = time.monotonic() - began
        assert time.monotonic() - began < PATIENCE_S, f"only {', '.join(done)} came through"
        time.sleep(0.05)
    return {what: done[what] for what in waits}


def is_measured(key: int) -> bool:
    from portal.intake.models import SourceFile

    return SourceFile.objects.filter(pk=key, status=SourceFile.Status.SURVEYED).exists()


def is_unpacked(key: int) -> bool:
    from portal.intake.models import SentZip

    return SentZip.objects.filter(pk=key, state=SentZip.State.UNPACKED).exists()


def is_checked(key: int) -> bool:
    from portal.intake.models import SongCheck

    return SongCheck.objects.done().filter(song__sources=key).exists()


def sent_zip(content: bytes) -> int:
    from tests.factories import make_sent_zip

    return make_sent_zip(content=content).pk


def packed_noises() -> bytes:
    from tests.portal.intake.made_zips import zipped

    return zipped(*((f"file {at}.wav", content) for at, content in enumerate(noises(ZIP_FILES, SMALL_S))))


def noises(number: int, length_s: float) -> list[bytes]:
    """Files, each with other content than any before."""
    from tests.factories import wav_bytes

    sound = np.random.default_rng()
    return [wav_bytes(0.1 * sound.standard_normal((int(length_s * RATE_HZ), 1)), RATE_HZ) for _ in range(number)]


def sent_files(contents: list[bytes]) -> list[int]:
    """Files of one new song that wait for their survey."""
    from portal.bookings.stages import SongStage
    from portal.intake.models import SourceFile
    from tests.factories import make_song, make_source, store_content

    song = make_song(stage=SongStage.CHECKING)
    keys = []
    for at, content in enumerate(contents):
        sha256 = store_content(content)
        source = make_source(
            song=song,
            name=f"file {at}.wav",
            sha256=sha256,
            key=f"originals/{sha256[:2]}/{sha256}",
            size_bytes=len(content),
            status=SourceFile.Status.RECEIVED,
            report=None,
        )
        keys.append(source.pk)
    return keys


@contextlib.contextmanager
def running(command: list[str]) -> Iterator[None]:
    process = subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    try:
        yield
    finally:
        process.terminate()
        try:
            process.wait(timeout=20)
        except subprocess.TimeoutExpired:
            process.kill()
            process.wait()


def until(is_so: Callable[[], bool], *, within_s: float = 60) -> None:
    give_up_at = time.monotonic() + within_s
    while not is_so():
        assert time.monotonic() < give_up_at
        time.sleep(0.05)
