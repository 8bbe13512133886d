"""Attacks by what is sent, or only announced, through the tus protocol."""

from __future__ import annotations

import base64
import random
import time
import zlib
from collections import Counter
from collections.abc import Iterator, Mapping
from concurrent.futures import ThreadPoolExecutor
from http.client import HTTPException

from tests.attacks.kinds import BROKEN, Outcome, Stop
from tests.attacks.target import Answer, NotOursError, Target
from tests.portal.intake import made_zips

BYTES_TYPE = "application/offset+octet-stream"
MOST_RESERVATIONS = 200
ENTRIES_OF_ONE_NAME = 1_000
MOST_ZIPS, MOST_TINY_FILES = 40, 1_000
BOMB_BYTES = 64 * 1024**2
SIDE_BY_SIDE, RACERS = 4, 8
PAUSE_S = 0.5
# A zip is looked for so long after the attack has ended.
SETTLED_WITHIN_S = 90


def reservations(target: Target, stop: Stop) -> Outcome:
    """Announce uploads of 32 GiB, send none; then whether the house still takes a file of its own."""
    counts: Counter[int] = Counter()
    made: list[str] = []
    while not stop.is_set():
        if len(made) >= MOST_RESERVATIONS:
            stop.wait(PAUSE_S)
            continue
        answer = announce(target, 32 * 1024**3)
        counts[answer.status] += 1
        made += [answer.headers["Location"]] if "Location" in answer.headers else []
    drummer = target.signed_in("drummer")
    own = announce(drummer, 1024**2)
    for path in made:
        tus(target, "DELETE", path)
    if "Location" in own.headers:
        tus(drummer, "DELETE", own.headers["Location"])
    return {"announced": dict(counts), "the house's own upload of 1 MiB": own.status}


def races(target: Target, stop: Stop) -> Outcome:
    """Eight send the same piece at the same place at once, then all end the upload at once: each is won by one."""
    rounds, won_once, ended_once = 0, 0, 0
    counts: Counter[int] = Counter()
    with ThreadPoolExecutor(RACERS) as racers:
        while not stop.is_set():
            path = announce(target, 200_000).headers["Location"]
            sent = [racers.submit(append, target, path, bytes(100_000), 0) for _ in range(RACERS)]
            sent_statuses = [one.result().status for one in sent]
            ended = [racers.submit(tus, target, "DELETE", path) for _ in range(RACERS)]
            ended_statuses = [one.result().status for one in ended]
            counts.update(sent_statuses + ended_statuses)
            rounds, won_once = rounds + 1, won_once + (sent_statuses.count(204) == 1)
            ended_once += ended_statuses.count(204) == 1
    return {"rounds": rounds, "one wrote": won_once, "one ended": ended_once, **in_words(counts)}


def zip_of_one_name(target: Target, stop: Stop) -> Outcome:
    return send_zips(target, stop, made_zips.zip_of_one_name(ENTRIES_OF_ONE_NAME), most=1)


def zip64_offsets(target: Target, stop: Stop) -> Outcome:
    """Offsets and lengths that no file can have."""
    impossible = (2**63 - 1, 2**63, 2**64 - 1, 2**40)
    zips = [made_zips.with_zip64(b"a.wav", b"sound", offset=number) for number in impossible]
    zips += [made_zips.with_zip64(b"a.wav", b"sound", packed=number) for number in impossible]
    return send_zips(target, stop, *zips, most=MOST_ZIPS)


def zip_bomb(target: Target, stop: Stop) -> Outcome:
    """A thousand times as large as it looks, and twice: an entry that says so, and one that says that it is small."""
    honest = made_zips.raw_zip((b"zeros.wav", bytes(BOMB_BYTES)), method=made_zips.DEFLATED)
    lying = made_zips.raw_zip((b"zeros.wav", bytes(BOMB_BYTES)), method=made_zips.DEFLATED, said_size=44)
    return send_zips(target, stop, honest, lying, most=2)


def send_zips(target: Target, stop: Stop, *contents: bytes, most: int) -> Outcome:
    """Each by turns, under another name; in the end it is looked for what became of them."""
    song, counts = song_that_takes_files(target), Counter[int]()
    names: list[str] = []
    while not stop.is_set():
        if len(names) >= most:
            stop.wait(PAUSE_S)
            continue
        name = f"zip {random.getrandbits(32):08x}.zip"
        counts[send(target, song, name, contents[len(names) % len(contents)]).status] += 1
        names.append(name)
    decided = wait_for_zips(target, song, names)
    return {"zips": len(names), "decided": decided, **in_words(counts)}


def wait_for_zips(target: Target, song: int, names: list[str]) -> int:
    """How many the house has unpacked, or says that it cannot."""
    give_up_at, decided = time.monotonic() + SETTLED_WITHIN_S, 0
    while decided < len(names) and time.monotonic() < give_up_at:
        time.sleep(PAUSE_S)
        said = target.timeline(song)
        decided = sum(f"Unpacked “{name}”" in said or f"“{name}” cannot be used" in said for name in names)
    return decided


def tiny_files(target: Target, stop: Stop) -> Outcome:
    """As many small files as a few connections bring, each of other content."""
    song, counts = song_that_takes_files(target), Counter[int]()
    names = iter(range(MOST_TINY_FILES))

    def send_on() -> Iterator[int]:
        for number in names:
            if stop.is_set():
                return
            content = zlib.compress(b"%d" % number) + random.randbytes(64)  # noqa: S311 - no two of one content
            yield send(target, song, f"tiny {number}.wav", content).status

    with ThreadPoolExecutor(SIDE_BY_SIDE) as senders:
        for sent in [senders.submit(lambda: list(send_on())) for _ in range(SIDE_BY_SIDE)]:
            counts.update(sent.result())
    return {"files": counts.total(), **in_words(counts)}


def in_words(counts: Counter[int]) -> Outcome:
    return {"answers": dict(counts), BROKEN: sum(number for status, number in counts.items() if status >= 500)}


def song_that_takes_files(target: Target) -> int:
    for song in target.songs():
        answer = announce(target, 1, for_song(song, "a.wav"))
        if "Location" in answer.headers:
            tus(target, "DELETE", answer.headers["Location"])
            return song
    raise NotOursError("There is no song to which this account may send files.")


def send(target: Target, song: int, name: str, content: bytes) -> Answer:
    try:
        begun = announce(target, len(content), for_song(song, name))
        return append(target, begun.headers["Location"], content, 0) if "Location" in begun.headers else begun
    except (OSError, HTTPException):
        return Answer(0, {}, b"", {})


def append(target: Target, path: str, content: bytes, offset: int) -> Answer:
    return tus(target, "PATCH", path, content, Content_Type=BYTES_TYPE, Upload_Offset=str(offset))


def for_song(song: int, name: str) -> dict[str, str]:
    return {"filename": name, "purpose": "source", "target": str(song)}


def announce(target: Target, length_bytes: int, said: Mapping[str, str] | None = None) -> Answer:
    """Without a word on what it is for, it is a part of some file."""
    if not said:
        return tus(target, "POST", "/tus/", Upload_Length=str(length_bytes), Upload_Concat="partial")
    coded = ",".join(f"{key} {base64.b64encode(value.encode()).decode()}" for key, value in said.items())
    return tus(target, "POST", "/tus/", Upload_Length=str(length_bytes), Upload_Metadata=coded)


def tus(target: Target, method: str, path: str, content: bytes = b"", **fields: str) -> Answer:
    token = target.cookies.get("csrftoken", "")
    return target.ask(method, path, content, X_CSRFToken=token, Tus_Resumable="1.0.0", **fields)
