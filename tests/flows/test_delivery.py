"""From approval to what the client has in the end, in a real browser: a damaged multitrack dropped, corrected, held
until the balance is there, released, taken over a line that breaks, and verified with the engine alone.

With pictures of every page at two widths:

    DELIVERY_LOOKS=FOLDER python -m pytest -s tests/flows/test_delivery.py
"""

from __future__ import annotations

import io
import json
import os
import re
import shutil
import subprocess
import sys
import zipfile
from datetime import date
from decimal import Decimal
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import requests
import soundfile
from django.core.files.base import ContentFile
from django.core.files.storage import default_storage
from django.test import Client
from PIL import Image
from playwright.sync_api import Page, ViewportSize, expect
from pytest_django.fixtures import Settings
from pytest_django.live_server_helper import LiveServer

from portal.bookings.models import Booking, Song
from portal.delivery.models import Delivery
from portal.delivery.song_facts import note_sets
from portal.money.models import Payment, Quote
from portal.money.payments import record_payment
from portal.people.models import User
from tests import signals
from tests.factories import make_client, make_quote, make_rough_mix, make_song, wav_bytes
from tests.flows.broken_line import BrokenLine, broken_line

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]
ROOT = Path(__file__).resolve().parents[2]
LAPTOP: ViewportSize = {"width": 1440, "height": 900}
PHONE: ViewportSize = {"width": 390, "height": 844}
LOOKS = os.environ.get("DELIVERY_LOOKS")
RATE_HZ, SECONDS, LATE = 48_000, 4, 1_024
BROKEN_AFTER_BYTES = 600_000  # of 1.7 MB
UNBROKEN_TITLE = "ColdBusUnderSpoons" * 6  # no page may grow wider by it
NAMES = ("Kick In.wav", "Hat.wav", "Ride.wav")
WAIT_MS = 240_000  # a check of three short tracks, on a machine that has much else to do


@pytest.fixture
def song(settings: Settings, tmp_path: Path) -> Song:
    """Its mix is accepted; the quote says that the files wait for the balance."""
    settings.MEDIA_ROOT = tmp_path / "store"
    client = make_client(name="Mara Sandquell")
    song = make_song(client=client, stage="in-review", turn="drummer", title=UNBROKEN_TITLE, mix_accepted=True)
    make_quote(booking=song.booking, state=Quote.State.ACCEPTED, balance_before_files=True)
    Booking.objects.filter(pk=song.booking_id).update(balance_before_files=True)
    mix = sum(track(name) for name in NAMES)
    default_storage.save("mix.flac", ContentFile(b""))
    soundfile.write(default_storage.path("mix.flac"), mix, RATE_HZ, "PCM_16", format="FLAC")
    facts = {"duration_s": SECONDS, "sample_rate_hz": RATE_HZ, "channels": 1, "frames": SECONDS * RATE_HZ}
    make_rough_mix(song=song, state="accepted", content=wav_bytes(np.asarray(mix)), proxy_key="mix.flac", report=facts)
    return Song.objects.get(pk=song.pk)


def track(name: str) -> Any:
    return signals.noise(duration_s=SECONDS, seed=NAMES.index(name), rms=0.05)


def damaged(folder: Path) -> list[Path]:
    """All 1,024 samples late; the hat one sample short; one name that is not safe."""
    folder.mkdir()
    paths = []
    for name in NAMES:
        late = np.concatenate([np.zeros((LATE, 1)), track(name)])
        paths.append(folder / name)
        paths[-1].write_bytes(wav_bytes(late[:-1] if name == "Hat.wav" else late))
    return paths


def look(page: Page, name: str) -> None:
    """At both widths: nothing sticks out, whatever is looked at."""
    for size in (PHONE, LAPTOP):
        page.set_viewport_size(size)
        assert page.evaluate("document.documentElement.scrollWidth <= innerWidth"), (name, size)
        if LOOKS:
            Path(LOOKS).mkdir(parents=True, exist_ok=True)
            page.screenshot(path=Path(LOOKS, f"{name}-{size['width']}.png"), full_page=True)


def sign_in(page: Page, live_server: LiveServer, user: User) -> str:
    client = Client()
    client.force_login(user)
    cookie = client.cookies["sessionid"].value
    page.context.add_cookies([{"name": "sessionid", "value": cookie, "url": live_server.url}])
    return cookie


def test_a_damaged_set_is_corrected_held_released_taken_and_verified(
    page: Page, live_server: LiveServer, song: Song, tmp_path: Path
) -> None:
    troubles: list[str] = []
    page.on("pageerror", lambda error: troubles.append(str(error)))
    drummer, member = song.booking.created_by, song.booking.members.get().user
    sign_in(page, live_server, drummer)
    page.goto(f"{live_server.url}{song.get_absolute_url()}")
    page.get_by_role("button", name="Open a delivery").click()
    drop_and_correct(page, damaged(tmp_path / "set"))
    see_the_turn_pass(page, Delivery.objects.get())
    fill_the_sheet(page, tmp_path)
    page.get_by_role("button", name="Release delivery 1 to the client").click()
    expect(page.get_by_text("released").first).to_be_visible()

    delivery = Delivery.objects.get()
    address = f"{live_server.url}/deliveries/{delivery.pk}/"
    cookie = sign_in(page, live_server, member)
    page.goto(address)
    expect(page.get_by_role("heading", name="Not available for download yet")).to_be_visible()
    expect(page.locator("audio")).to_have_count(1)
    look(page, "held")
    taken = requests.get(f"{address}zip/", cookies={"sessionid": cookie}, timeout=60)
    assert taken.status_code == requests.codes.forbidden

    record_payment(
        booking=song.booking, kind=Payment.Kind.BALANCE, amount=Decimal(175), received_on=date(2026, 11, 25), by=drummer
    )
    page.reload()
    expect(page.get_by_role("link", name="Download everything as one zip")).to_be_visible()
    look(page, "open")
    path = f"/deliveries/{delivery.pk}/"
    with broken_line(live_server.thread.port, path=f"{path}zip/", after_bytes=BROKEN_AFTER_BYTES) as line:
        content = take_over_a_broken_line(page, line, path)
    page.goto(f"{address}sheet/")
    look(page, "sheet-client")
    sign_in(page, live_server, drummer)
    page.goto(f"{address}#receipts")
    expect(page.locator("#receipts").get_by_text(re.compile(r"\ball [0-9]"))).to_be_visible()
    look(page, "receipts")
    verify_with_the_engine_alone(content, tmp_path)
    assert not troubles


def drop_and_correct(page: Page, paths: list[Path]) -> None:
    page.locator(".dropzone input[type=file]").set_input_files([str(path) for path in paths])
    expect(page.locator("#delivery-set tbody tr")).to_have_count(len(paths), timeout=WAIT_MS)
    page.get_by_role("button", name="Check the set").click(timeout=WAIT_MS)
    expect(page.get_by_text("failed checks block the release")).to_be_visible(timeout=WAIT_MS)
    move = page.get_by_label("Move all files 1024 samples earlier")
    expect(move).not_to_be_checked()  # the whole set is never moved unless a person says so
    expect(page.get_by_label("Add silence at the end of one file")).to_be_checked()
    look(page, "findings")
    move.check()
    page.get_by_role("button", name="Make the corrected set").click(timeout=WAIT_MS)
    expect(page.get_by_text("Nothing blocks the release")).to_be_visible(timeout=WAIT_MS)
    expect(page.get_by_text("Hat.wav was moved 1024 samples earlier, with the whole set.")).to_be_visible()
    look(page, "corrected")


def see_the_turn_pass(page: Page, delivery: Delivery) -> None:
    """A worker beside the page, as far as the rows show it: here each task ends within the request that asks for it."""
    delivery.ask_check()
    note_sets(delivery.song)
    page.reload()
    expect(page.locator(".turn")).to_contain_text("With our checks")
    delivery.store_checks(delivery.checks, passed=True)
    note_sets(delivery.song)
    expect(page.locator(".turn")).to_contain_text("Your turn")
    expect(page.get_by_text("Nothing blocks the release")).to_be_visible()


def fill_the_sheet(page: Page, folder: Path) -> None:
    page.get_by_text("Microphones, polarity and takes").click()
    page.get_by_label("Left and right are").select_option("player")
    page.get_by_label("For the next time").fill("Hat: 14 inches, a hand above the snare.")
    page.get_by_label("Microphone of Hat.wav").fill("small condenser")
    look(page, "describe")
    page.get_by_role("button", name="Save the delivery sheet").click()
    # Left and right are stated otherwise.
    expect(page.get_by_text("This asked for a new check of the set")).to_be_visible()
    expect(page.get_by_text("Nothing blocks the release")).to_be_visible(timeout=WAIT_MS)
    page.get_by_role("link", name="Look at the sheet").click()
    Image.new("RGB", (1_200, 800), "navy").save(folder / "kit.png")
    page.get_by_label("Photograph of the kit").set_input_files(str(folder / "kit.png"))
    page.get_by_role("button", name="Add the photograph").click()
    expect(page.get_by_role("img", name="Photograph 1 of the kit")).to_be_visible()
    look(page, "sheet")
    page.get_by_role("link", name="Delivery 1").click()


def take_over_a_broken_line(page: Page, line: BrokenLine, address: str) -> bytes:
    """Chromium takes up the download by itself: from the byte that is missing, if the content is still the same."""
    page.goto(f"{line.url}{address}")
    with page.expect_download() as waiting:
        page.get_by_role("link", name="Download everything as one zip").click()
    content = Path(waiting.value.path()).read_bytes()
    assert line.is_broken
    first, again = line.heads
    assert b"\r\nRange:" not in first
    assert int(again.partition(b"\r\nRange: bytes=")[2].partition(b"-")[0]) > BROKEN_AFTER_BYTES // 2
    assert b"\r\nIf-Range: " in again
    return content


def verify_with_the_engine_alone(content: bytes, folder: Path) -> None:
    """No portal, no settings, nothing of this process's environment: the package `analysis`, copied."""
    with zipfile.ZipFile(io.BytesIO(content)) as packed:
        packed.extractall(folder / "arrived")
    (arrived,) = (folder / "arrived").iterdir()
    assert {path.name for path in arrived.iterdir()} >= {"sheet.json", "delivery-sheet.pdf", "kit-1.jpg", "Hat.wav"}
    shutil.copytree(ROOT / "analysis", folder / "engine" / "analysis")
    done = subprocess.run(
        [sys.executable, "-m", "analysis", "verify", str(arrived), "--sheet", str(arrived / "sheet.json"), "--json"],
        cwd=folder / "engine",
        env={"PATH": os.defpath, "OPENBLAS_NUM_THREADS": "1"},
        capture_output=True,
        text=True,
        check=True,
    )
    report = json.loads(done.stdout)
    assert report["passed"]
    said = [check["message"] for check in report["checks"] if check["code"] == "arrived"]
    assert sorted(said) == [
        f"{name} is as it was sent, bit for bit." for name in ("Hat.wav", "Kick_In.wav", "Ride.wav")
    ]
    sheet = json.loads((arrived / "sheet.json").read_text("utf-8"))
    assert "Hat.wav was moved 1024 samples earlier, with the whole set." in sheet["repairs"]
    assert sheet["perspective"] == "as the drummer sits"
