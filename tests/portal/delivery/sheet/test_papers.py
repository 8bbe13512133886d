"""The sheet in the zip, by which the client checks what arrived with the engine alone."""

from __future__ import annotations

import io
import json
import subprocess
import sys
import zipfile
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from portal.delivery import services, tasks
from portal.delivery.models import Delivery
from portal.delivery.sheet.papers import keep_papers, papers_of
from tests import signals
from tests.factories import make_client, make_delivery, make_map, make_song, make_track, wav_bytes

pytestmark = pytest.mark.django_db

ROOT = Path(__file__).resolve().parents[4]
TRACKS = {
    name: wav_bytes(signals.noise(duration_s=2.0, seed=seed, rms=0.05))
    for seed, name in enumerate(("Hat.wav", "Kick.wav"))
}


@pytest.fixture
def delivery() -> Delivery:
    song = make_song(client=make_client(), stage="tracking", turn="drummer", title="Cold Bus Under Spoons")
    make_map(song=song, bar_one_s=0.5)
    delivery = make_delivery(song=song, perspective="player", recall="Snare tuned to G.")
    for name, content in TRACKS.items():
        make_track(delivery=delivery, name=name, content=content, microphone="dynamic", corrections=[f"{name} moved."])
    delivery.ask_check()
    tasks.check_delivery(delivery.pk)
    delivery.refresh_from_db()
    return delivery


def verify(folder: Path) -> tuple[int, list[dict[str, Any]]]:
    """As a client runs it: another process, in another folder, with the engine and nothing of a house."""
    done = subprocess.run(
        [sys.executable, "-m", "analysis", "verify", str(folder), "--sheet", str(folder / "sheet.json"), "--json"],
        env={"PYTHONPATH": str(ROOT), "OPENBLAS_NUM_THREADS": "1"},
        cwd=folder,
        capture_output=True,
        text=True,
        check=False,
    )
    checks = json.loads(done.stdout)["checks"] if done.stdout else []
    return done.returncode, [check for check in checks if check["code"].startswith(("arrived", "sheet", "not-in"))]


def test_what_was_downloaded_is_verified_by_its_own_sheet(
    delivery: Delivery, client: Client, tmp_path: Path, django_capture_on_commit_callbacks: Callable[..., Any]
) -> None:
    with django_capture_on_commit_callbacks(execute=True):
        services.release(delivery=delivery, note="Enjoy.", by=delivery.song.booking.created_by)
    delivery.refresh_from_db()
    assert [paper["name"] for paper in delivery.papers] == ["delivery-sheet.txt", "delivery-sheet.pdf", "sheet.json"]
    client.force_login(delivery.song.booking.members.get().user)
    answer: Any = client.get(reverse("delivery:zip", args=[delivery.pk]))
    with zipfile.ZipFile(io.BytesIO(b"".join(answer.streaming_content))) as packed:
        assert packed.testzip() is None
        packed.extractall(tmp_path)
    folder = tmp_path / "Cold-Bus-Under-Spoons_delivery-1"
    assert {path.name for path in folder.iterdir()} == {
        *TRACKS,
        "delivery-sheet.txt",
        "delivery-sheet.pdf",
        "sheet.json",
        "sha256.txt",
    }

    status, arrived = verify(folder)
    assert (status, [(check["file"], check["passed"]) for check in arrived]) == (0, [(name, True) for name in TRACKS])
    sheet = json.loads((folder / "sheet.json").read_text("utf-8"))
    assert (sheet["title"], sheet["number"], sheet["recall"]) == ("Cold Bus Under Spoons", 1, "Snare tuned to G.")
    assert (sheet["bar_one_frame"], sheet["perspective"]) == (24_000, "as the drummer sits")  # 0.5 s at 48 kHz
    assert [track["channel"] for track in sheet["tracks"]] == ["hi-hat", "kick, inside"]
    assert sheet["repairs"] == ["Hat.wav moved.", "Kick.wav moved."]
    (folder / "Hat.wav").write_bytes(TRACKS["Hat.wav"][:-3])
    (folder / "Kick.wav").unlink()
    status, arrived = verify(folder)
    failed = [(check["code"], check["file"]) for check in arrived if not check["passed"]]
    assert failed == [("arrived", "Hat.wav"), ("sheet-length", "Hat.wav"), ("arrived", "Kick.wav")]


def test_the_papers_of_a_set_that_went_out_stay_what_they_were(delivery: Delivery) -> None:
    assert delivery.papers == []
    fresh = papers_of(delivery)
    Delivery.objects.update(state="released", recall="Written later.")
    delivery.refresh_from_db()
    first = papers_of(delivery)
    assert [one.sha256 for one in first] != [one.sha256 for one in fresh]
    Delivery.objects.update(recall="Even later.")
    delivery.refresh_from_db()
    assert [one.sha256 for one in papers_of(delivery)] == [one.sha256 for one in first]
    assert b"Written later." in papers_of(delivery)[0].content()
    assert [one["sha256"] for one in keep_papers(delivery)] != [one.sha256 for one in first]


def test_a_set_that_was_checked_before_there_were_sheets_has_its_hashes(delivery: Delivery, tmp_path: Path) -> None:
    delivery.files.update(track={})
    (sheet,) = [paper.content() for paper in papers_of(delivery) if paper.name == "sheet.json"]
    (tmp_path / "sheet.json").write_bytes(sheet)
    for name, content in TRACKS.items():
        (tmp_path / name).write_bytes(content)
    status, arrived = verify(tmp_path)
    assert (status, [check["passed"] for check in arrived]) == (0, [True, True])
