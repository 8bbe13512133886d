from __future__ import annotations

import io
from typing import Any

import pytest
from django.core.files.storage import default_storage
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from django.urls import reverse
from PIL import Image

from portal.delivery.models import Delivery, KitPhoto
from portal.delivery.sheet import photos
from tests.factories import make_client, make_delivery, make_map, make_song, make_track
from tests.portal.pages import flat

pytestmark = pytest.mark.django_db

FACTS = {"sample_rate_hz": 48_000, "bit_depth": 24, "channels": 1, "frames": 96_000}
CHECKS: list[dict[str, Any]] = [
    {"code": "clipped", "file": "Hat.wav", "passed": False, "message": "Hat.wav is clipped."},
    {"code": "sides", "file": None, "passed": True, "message": "Can't tell left from right.", "undecided": True},
    {"code": "drift", "file": None, "passed": True, "message": "One clock.", "value": 0.5, "low": 0.25, "high": 0.75},
]


@pytest.fixture
def delivery() -> Delivery:
    song = make_song(client=make_client(), stage="tracking", title="Cold Bus Under Spoons")
    make_map(song=song)
    delivery = make_delivery(song=song, state="checked", checks=CHECKS, recall="Snare tuned to G.")
    make_track(delivery=delivery, name="Hat.wav", facts=FACTS, crc32=0, track={"channel": "hat"})
    delivery.waivers.create(
        code="clipped", file_name="Hat.wav", reason="meant to be", waived_by=song.booking.created_by
    )
    return delivery


def photograph(size: tuple[int, int] = (300, 200), kind: str = "JPEG") -> bytes:
    image, exif = io.BytesIO(), Image.Exif()
    exif[0x0110] = "A camera"  # Model (CIPA DC-008)
    Image.new("RGB", size, "navy").save(image, kind, exif=exif)
    return image.getvalue()


def send(client: Client, delivery: Delivery, content: bytes, name: str = "kit.jpg") -> str:
    sent = {"photo": SimpleUploadedFile(name, content)}
    return client.post(reverse("delivery:upload-photo", args=[delivery.pk]), sent, follow=True).content.decode()


def test_the_page_says_what_is_on_the_sheet(client: Client, delivery: Delivery) -> None:
    client.force_login(delivery.song.booking.created_by)
    page = flat(client.get(reverse("delivery:sheet", args=[delivery.pk])).content.decode())
    for part in (
        "Bar one at 2.000000 s: frame 96000 at 48000 Hz, counted from 0",
        "hat, mono",
        "Snare tuned to G.",
        "meant to be",
        "0.5 (0.25 to 0.75)",
        "Add the photograph",
    ):
        assert part in page
    assert page.index("Waived") < page.index("Undecided") < page.index("1 passed")


def test_a_client_sees_the_sheet_of_what_was_released_and_changes_nothing(client: Client, delivery: Delivery) -> None:
    client.force_login(delivery.song.booking.members.get().user)
    address = reverse("delivery:sheet", args=[delivery.pk])
    assert client.get(address).status_code == 404
    Delivery.objects.update(state="released")
    page = client.get(address).content.decode()
    assert "Snare tuned to G." in page
    assert "Add the photograph" not in page
    assert client.get(reverse("delivery:sheet-pdf", args=[delivery.pk])).content.startswith(b"%PDF-")
    answer = client.get(reverse("delivery:sheet-json", args=[delivery.pk]))
    assert answer.json()["let_pass"] == [
        {
            "code": "clipped",
            "file": "Hat.wav",
            "reason": "meant to be",
            "by": delivery.song.booking.created_by.name,
        }
    ]
    assert "Cold-Bus-Under-Spoons_delivery-1_sheet.json" in answer.headers["Content-Disposition"]


def test_photographs_are_written_anew_shown_and_removed(client: Client, delivery: Delivery) -> None:
    client.force_login(delivery.song.booking.created_by)
    page = send(client, delivery, photograph())
    photo = KitPhoto.objects.get()
    assert (photo.width, photo.height, reverse("delivery:photo", args=[photo.pk]) in page) == (300, 200, True)
    with default_storage.open(photo.key, "rb") as stored:
        assert b"A camera" not in stored.read()
    answer = client.get(reverse("delivery:photo", args=[photo.pk]))
    assert answer.headers["Content-Type"] == "image/jpeg"

    assert "Add the photograph" not in send(client, delivery, photograph(kind="PNG"))
    assert "A sheet holds 2 photographs" in send(client, delivery, photograph())
    client.post(reverse("delivery:remove-photo", args=[photo.pk]))
    assert KitPhoto.objects.count() == 1

    Delivery.objects.update(state="released")
    client.post(reverse("delivery:remove-photo", args=[KitPhoto.objects.get().pk]))
    assert "open a new one" in send(client, delivery, photograph())
    assert KitPhoto.objects.count() == 1


def test_what_is_no_photograph_or_too_large_is_refused(
    client: Client, delivery: Delivery, monkeypatch: pytest.MonkeyPatch
) -> None:
    client.force_login(delivery.song.booking.created_by)
    assert "is no JPEG, PNG or WebP photograph" in send(client, delivery, b"<svg onload='alert(1)'/>", "kit.jpg")
    monkeypatch.setattr(photos, "LARGEST_BYTES", 100)
    assert "is larger than" in send(client, delivery, photograph())
    assert not KitPhoto.objects.exists()
    assert (
        "Choose a photograph"
        in client.post(reverse("delivery:upload-photo", args=[delivery.pk]), {}, follow=True).content.decode()
    )
