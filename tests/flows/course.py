"""The whole course of one booking, from quote to acceptance, in two browser windows beside each other."""

import io
import re
import zipfile
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from tests.flows.people import MEASURED_WITHIN_MS, Client, Drummer, Look, NewWindow

PARTIAL_FROM = 1000


@dataclass(frozen=True)
class Material:
    """What is sent: `stems` by the client; `rough_mixes` (the first is sent back) and `tracks` by the drummer."""

    title: str
    stems: Sequence[Path]
    rough_mixes: tuple[Path, Path]
    tracks: Sequence[Path]


def see_nothing(*_: object) -> None:
    """For a walk without pictures."""


def walk(new_window: NewWindow, house: Mapping[str, Any], material: Material, *, client_email: str, look: Look) -> None:
    """Walk it all; every step waits for what the page says, and fails when it does not say it."""
    drummer = Drummer(new_window(), house["url"], look)
    client = Client(new_window(), house["url"], look)
    drummer.sign_in(house["drummer"]["email"], house["drummer"]["password"])
    booking_url, song_url = agree(drummer, client, material, client_email)
    intake(drummer, client, material, booking_url, song_url)
    track(drummer, client, material, song_url)
    deliver(drummer, client, material, booking_url, song_url)
    stranger = Client(new_window(), house["url"], see_nothing)
    stranger.sign_in(house["other_client"]["email"], house["other_client"]["password"])
    for private in (booking_url, song_url):
        answer = stranger.page.goto(private)
        assert answer is not None
        assert answer.status == 404


def agree(drummer: Drummer, client: Client, material: Material, client_email: str) -> tuple[str, str]:
    drummer.open_booking(
        title=f"{material.title} sessions",
        songs=[material.title],
        client_name="Mirela Sandquell",
        client_email=client_email,
    )
    drummer.send_quote(line=f"Drums for {material.title}", price="333.33")
    client.take_invitation(drummer.invitation_link(client_email))
    client.accept_quote()
    client.page.goto(client.url)
    client.look("board-client")
    client.follow(f"{material.title} sessions")
    client.look("booking-agreed")
    booking_url = client.page.url
    with client.page.expect_navigation():
        client.section("Songs").get_by_role("link", name=material.title).first.click()
    return booking_url, client.page.url


def intake(drummer: Drummer, client: Client, material: Material, booking_url: str, song_url: str) -> None:
    client.write_brief(song_url, notes="Big in the choruses. No click, sorry.")
    client.send_stems(song_url, material.stems)
    client.answer("There is no click: please make the map")
    client.sees(re.compile("^With Nadia Veltmoor"), within_ms=MEASURED_WITHIN_MS)
    client.look("song-answered")
    drummer.record_payment(booking_url, kind="deposit", amount="166.67")
    drummer.take_from_desk(material.title)
    drummer.approve()
    drummer.mark_ready()


def track(drummer: Drummer, client: Client, material: Material, song_url: str) -> None:
    first, second = material.rough_mixes
    drummer.start_tracking(song_url)
    drummer.send_rough_mix(first, note="First pass: fills are placeholders.")
    client.ask_for_change(song_url, "Ride instead of hats in the last chorus, please.")
    drummer.page.goto(song_url)
    drummer.sees("Ride instead of hats")
    drummer.send_rough_mix(second, note="With the ride.")
    client.accept_rough_mix(song_url)


def deliver(drummer: Drummer, client: Client, material: Material, booking_url: str, song_url: str) -> None:
    drummer.deliver(song_url, material.tracks)
    client.page.goto(song_url)
    client.follow("See the files in the set")
    client.sees("The full files are released when the balance is recorded")
    assert client.page.get_by_role("link", name="one zip").count() == 0
    drummer.record_payment(booking_url, kind="balance", amount="166.66")
    client.page.reload()
    client.look("delivery")
    check_downloads(client, material.tracks)
    client.accept_delivery()
    client.page.goto(booking_url)
    client.sees("closed")
    client.look("booking-closed")
    drummer.page.goto(f"{drummer.url}/board/")
    drummer.look("board")


def check_downloads(client: Client, tracks: Sequence[Path]) -> None:
    """File by file and as one zip, whole and resumed, byte for byte what the drummer sent."""
    wanted = {path.name: path.read_bytes() for path in tracks}
    for name, content in wanted.items():
        assert client.download(client.page.get_by_role("link", name=name).first) == content
    link = client.page.get_by_role("link", name="one zip")
    whole = client.download(link)
    with zipfile.ZipFile(io.BytesIO(whole)) as archive:
        assert archive.testzip() is None
        packed = {Path(entry).name: archive.read(entry) for entry in archive.namelist()}
    assert wanted.items() <= packed.items()
    address = link.get_attribute("href")
    rest = client.page.request.get(f"{client.url}{address}", headers={"Range": f"bytes={PARTIAL_FROM}-"})
    assert (rest.status, rest.body()) == (206, whole[PARTIAL_FROM:])
