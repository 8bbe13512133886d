"""Ten courses of a booking through a real browser, in two windows. After every step all pages of both readers and the
e-mails of that step agree about whose turn it is, and what for. With `-s` each walk prints its table.

Every step that a person takes is taken in the browser. What is not a walk's own point is prepared by the same services.
"""

from __future__ import annotations

import io
import re
from collections.abc import Callable, Iterator
from decimal import Decimal
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import soundfile
from celery import Task
from playwright.sync_api import Page, expect
from pytest_django.live_server_helper import LiveServer

from portal.bookings.models import Booking, Song
from portal.bookings.services import move_song, open_booking, save_brief
from portal.bookings.stages import SongStage
from portal.intake.checks import jobs
from portal.intake.checks import services as intake
from portal.intake.checks.song_facts import note_facts
from portal.mailroom.models import Mail
from portal.money import payments
from portal.money import services as money
from portal.people.models import House, User
from tests.factories import make_check, make_client, make_drummer, make_source, measured_song, store_content
from tests.flows.people import MEASURED_WITHIN_MS
from tests.portal.walks.walking import CLIENT, DRUMMER, Walk, begin
from tests.signals import click_track, noise, tone
from tests.world import store_features

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]
BOOKING, SONG, OTHER_SONG = "Cold Bus Under Spoons", "Paper Bin Behind Goose", "Cellar Bucket Before Noon"
ADDED_SONG = "Green Ladder Beside Soup"
EMAIL = "mara@example.com"
RATE_HZ = 48_000
Begin = Callable[..., Walk]


@pytest.fixture(autouse=True)
def later_is_not_now(monkeypatch: pytest.MonkeyPatch) -> None:
    """What is to begin after a time does not begin at once: these walks end before that."""
    begin_task = Task.apply_async

    def not_yet(self: Any, *arguments: Any, countdown: float | None = None, **options: Any) -> object:
        return None if countdown else begin_task(self, *arguments, **options)

    monkeypatch.setattr(Task, "apply_async", not_yet)


@pytest.fixture
def people() -> tuple[User, User]:
    return make_drummer(name=DRUMMER, email="jo@example.com"), make_client(name=CLIENT, email=EMAIL)


@pytest.fixture
def at_windows(
    live_server: LiveServer, page: Page, other_page: Page, request: pytest.FixtureRequest
) -> Iterator[Callable[[User, User | None], Walk]]:
    walks: list[Walk] = []

    def start(drummer: User, client: User | None) -> Walk:
        walks.append(begin(request.node.name, live_server.url, (page, other_page), (drummer, client)))
        walks[-1].mails_seen = Mail.objects.count()
        return walks[-1]

    yield start
    for walk in walks:
        print(f"\n{walk.name}")  # noqa: T201 - what -s is for
        for row in walk.told:
            print("  " + " | ".join(row))  # noqa: T201


def sound(folder: Path, name: str, samples: np.ndarray) -> Path:
    soundfile.write(folder / name, samples, RATE_HZ, subtype="PCM_16")
    return folder / name


def agreed(people: tuple[User, User], *songs: str, deposit: int = 0, balance: bool = False) -> Booking:
    """Offered and accepted. The drummer has written, and the client knows of the booking."""
    jo, mara = people
    titles = songs or (SONG,)
    booking = open_booking(by=jo, title=BOOKING, song_titles=titles, client_name=CLIENT, client_email=EMAIL)
    conditions = money.Conditions("EUR", deposit, balance, 2, "", None, None, "")
    lines = [money.Line(f"Drums: {song}", Decimal(1), Decimal(120), song_id=song.pk) for song in booking.songs.all()]
    quote = money.save_draft(booking=booking, conditions=conditions, lines=lines, by=jo)
    money.send_quote(quote=quote, by=jo)
    money.accept_quote(quote=quote, by=mara)
    return Booking.objects.get(pk=booking.pk)


def on_desk(song: Song, people: tuple[User, User], *, content: bytes = b"") -> None:
    """The brief is written, and what was sent is measured: a sure 112 in 4/4 with bar one at 2 s."""
    save_brief(song=song, by=people[1], notes="Big in the choruses.")
    sha256 = store_content(content) if content else ""
    stored = {"sha256": sha256, "key": f"originals/{sha256[:2]}/{sha256}", "features_key": store_features()}
    make_source(song=song, **(stored if content else {"features_key": ""}))
    make_check(song=song)
    move_song(song, SongStage.ON_DESK, text="measured", has_files=True)
    note_facts(Song.objects.get(pk=song.pk))


def tracking(song: Song, people: tuple[User, User]) -> None:
    on_desk(song, people)
    intake.approve(song=song, by=people[0])
    intake.mark_ready(song=song, by=people[0])
    move_song(song, SongStage.TRACKING, text="started tracking")


def write_quote(walk: Walk, *, price: str = "240", deposit: str = "0", then: str = "Send to the client") -> None:
    """From the editor on the page to a draft, or to the client."""
    page = walk.drummer.page
    page.locator("input[name$=-text]").first.fill("Drums")
    page.locator("input[name$=-unit_price]").first.fill(price)
    page.locator("[name=deposit_percent]").fill(deposit)
    page.locator("[name=balance_before_files]").uncheck()
    if then == "Save the draft":
        walk.drummer.press(then)
    else:
        walk.drummer.press("Save and look at it")
        walk.drummer.press(then)


def open_in_browser(walk: Walk) -> None:
    walk.drummer.open_booking(title=BOOKING, songs=[SONG], client_name=CLIENT, client_email=EMAIL)


def press_at(walk: Walk, side: str, address: str, words: Any) -> None:
    person = walk.drummer if side == "drummer" else walk.client
    person.page.goto(address)
    person.press(words)


def cancel(walk: Walk) -> None:
    page = walk.drummer.page
    page.goto(walk.address(walk.booking))
    page.locator("summary", has_text="Cancel this booking").click()
    walk.drummer.press("Cancel the booking")


def decline(walk: Walk) -> None:
    page = walk.client.page
    page.goto(f"{walk.address(walk.booking)}quote/")
    page.locator("summary", has_text="Decline, or ask for changes").click()
    walk.client.press("Decline this quote")


def test_offered_and_declined(at_windows: Begin) -> None:
    walk = at_windows(make_drummer(name=DRUMMER, email="jo@example.com"), None)
    open_in_browser(walk)
    write_quote(walk, then="Save the draft")
    assert Booking.objects.get().waits_for == "send-quote"
    press_at(walk, "drummer", f"{walk.address(walk.booking)}quote/", "Save and look at it")
    walk.drummer.press("Send to the client")
    link = walk.drummer.invitation_link(EMAIL).replace("http://testserver", walk.url)
    walk.client.take_invitation(link)
    walk.stands("the quote is sent, the client comes by the invitation", "client", "answer-quote", mail_to="client")
    decline(walk)
    walk.stands("the client declines", "nobody", "declined", mail_to="drummer")


def test_from_the_enquiry_to_ready_with_a_question(
    at_windows: Begin, people: tuple[User, User], tmp_path: Path
) -> None:
    House.objects.update_or_create(pk=1, defaults={"quiet_after_files_s": 3_600})
    walk = at_windows(*people)
    open_in_browser(walk)
    walk.stands("an enquiry is opened", "drummer", "write-quote")
    write_quote(walk, then="Save the draft")
    walk.stands("the quote is drafted", "drummer", "send-quote")
    press_at(walk, "drummer", f"{walk.address(walk.booking)}quote/", "Save and look at it")
    walk.drummer.press("Send to the client")
    walk.stands("it is sent", "client", "answer-quote", mail_to="client")
    walk.client.page.goto(f"{walk.address(walk.booking)}quote/")
    walk.client.accept_quote()
    walk.stands("the client accepts", "client", "write-brief", mail_to="drummer")
    walk.client.write_brief(walk.address(walk.song), notes="Big in the choruses.")
    walk.stands("the client writes the brief", "client", "send-files")
    stem = sound(tmp_path, "bass.wav", tone(amplitude=0.25, sample_rate_hz=RATE_HZ))
    walk.client.page.goto(walk.address(walk.song))
    walk.client.send_files(walk.client.section("Files"), [stem])
    walk.stands("the client sends a stem", "house", "check")
    walk.client.say_that_is_all()
    walk.client.sees("Answer what we asked about your files.", within_ms=MEASURED_WITHIN_MS)
    walk.stands("the client says that is all: measured", "client", "answer-question", mail_to="client")
    walk.client.page.goto(walk.address(walk.song))
    walk.client.answer("Use the files as they are")
    walk.client.sees(f"With {DRUMMER}", within_ms=MEASURED_WITHIN_MS)
    walk.stands("the client answers", "drummer", "approve-map", mail_to="drummer")


def test_a_new_quote_in_mid_work(at_windows: Begin, people: tuple[User, User]) -> None:
    tracking(agreed(people).songs.get(), people)
    walk = at_windows(*people)
    at_work = {SONG: ("drummer", "send-mix")}
    walk.stands("(at work)", "drummer", "send-mix")
    for answer in ("accepts", "declines"):
        walk.drummer.page.goto(f"{walk.address(walk.booking)}quote/?new")
        write_quote(walk, price="260", then="Save the draft")
        press_at(walk, "drummer", f"{walk.address(walk.booking)}quote/", "Save and look at it")
        walk.drummer.press("Send to the client")
        walk.stands("it is sent", "client", "answer-new-quote", songs=at_work, mail_to="client")
        if answer == "declines":
            decline(walk)
        else:
            walk.client.page.goto(f"{walk.address(walk.booking)}quote/")
            walk.client.accept_quote()
        walk.stands(f"the client {answer} it", "drummer", "send-mix", mail_to="drummer")


def test_the_deposit_is_missing(at_windows: Begin, people: tuple[User, User]) -> None:
    on_desk(agreed(people, deposit=50).songs.get(), people)
    walk = at_windows(*people)
    walk.stands("(measured)", "drummer", "approve-map")
    walk.drummer.take_from_desk(SONG)
    walk.drummer.approve()
    walk.stands("the drummer approves the map", "client", "pay-deposit")
    payments.ask_for_deposits()
    walk.stands("the house asks for it", "client", "pay-deposit", mail_to="client")
    walk.drummer.record_payment(walk.address(walk.booking), kind="deposit", amount="60")
    walk.stands("the deposit is recorded", "drummer", "mark-ready", mail_to="client")
    walk.drummer.take_from_desk(SONG)
    walk.drummer.mark_ready()
    walk.stands("the song is marked ready", "drummer", "track")
    walk.drummer.start_tracking(walk.address(walk.song))
    walk.stands("tracking starts", "drummer", "send-mix")


def test_cancelled_before_anything_was_sent(at_windows: Begin, people: tuple[User, User]) -> None:
    walk = at_windows(*people)
    open_in_browser(walk)
    write_quote(walk, then="Save the draft")
    walk.stands("the quote is drafted", "drummer", "send-quote")
    cancel(walk)
    walk.stands("the drummer cancels", "nobody", "cancelled", unseen=True)


def test_cancelled_with_a_question_open(at_windows: Begin, people: tuple[User, User], tmp_path: Path) -> None:
    agreed(people)
    walk = at_windows(*people)
    walk.client.write_brief(walk.address(walk.song), notes="Big in the choruses.")
    walk.client.page.goto(walk.address(walk.song))
    stem = sound(tmp_path, "bass.wav", tone(amplitude=0.25, sample_rate_hz=RATE_HZ))
    walk.client.send_files(walk.client.section("Files"), [stem])
    walk.client.sees("Answer what we asked about your files.", within_ms=MEASURED_WITHIN_MS)
    walk.stands("the client sends a stem: measured", "client", "answer-question", mail_to="client")
    walk.client.page.goto(walk.address(walk.song))
    cancel(walk)
    walk.stands("the drummer cancels", "nobody", "cancelled", mail_to="client")
    walk.client.page.get_by_role("button", name="Use the files as they are").first.click()
    expect(walk.client.page.get_by_role("alert")).to_contain_text("This booking is cancelled")
    walk.stands("the client answers on an old page: told so", "nobody", "cancelled")


def test_asked_by_ear(at_windows: Begin, people: tuple[User, User], monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(jobs, "measured", lambda _: measured_song())  # a yes goes into the brief, which is checked
    music = io.BytesIO()
    beats = click_track(bpm=112, beats=40, sample_rate_hz=RATE_HZ).samples
    soundfile.write(music, beats, RATE_HZ, "PCM_16", format="WAV")
    on_desk(agreed(people).songs.get(), people, content=music.getvalue())
    walk = at_windows(*people)
    walk.drummer.take_from_desk(SONG)
    walk.drummer.approve()
    walk.stands("the drummer approves the map", "drummer", "mark-ready")
    press_at(walk, "drummer", f"{walk.address(walk.song)}sheet/", "Ask the client: is this right?")
    walk.stands("the drummer asks by ear", "client", "hear-bars", mail_to="client")
    walk.client.page.goto(walk.address(walk.song))
    walk.client.follow("Listen and answer")
    walk.client.page.locator("#words").fill("It drags a little.")
    walk.client.press(re.compile("^Send$"))
    walk.stands("the client says that something is wrong", "drummer", "approve-map", mail_to="drummer")
    walk.drummer.take_from_desk(SONG)
    walk.drummer.approve()
    walk.stands("the drummer approves again", "drummer", "mark-ready")
    press_at(walk, "drummer", f"{walk.address(walk.song)}sheet/", "Ask the client: is this right?")
    walk.stands("the drummer asks again", "client", "hear-bars", mail_to="client")
    walk.client.page.goto(walk.address(walk.song))
    walk.client.follow("Listen and answer")
    walk.client.press("Yes, this is right")
    # The tempo goes into the brief: the drummer looks at the map again, beside what is measured with it.
    walk.stands("the client says yes", "drummer", "approve-map", mail_to="drummer")


def test_a_change_after_the_rough_mix(at_windows: Begin, people: tuple[User, User], tmp_path: Path) -> None:
    tracking(agreed(people).songs.get(), people)
    walk = at_windows(*people)
    for number in (1, 2):
        walk.drummer.page.goto(walk.address(walk.song))
        mix = sound(tmp_path, f"rough-{number}.wav", tone(amplitude=0.1 * number, sample_rate_hz=RATE_HZ))
        walk.drummer.send_rough_mix(mix, note=f"Pass {number}.")
        walk.stands(f"rough mix {number} is sent", "client", "hear-mix", mail_to="client")
        if number == 1:
            walk.client.ask_for_change(walk.address(walk.song), "Softer in the bridge.")
            walk.stands("the client asks for a change", "drummer", "change-mix", mail_to="drummer")
    walk.client.accept_rough_mix(walk.address(walk.song))
    walk.stands("the client accepts it", "drummer", "deliver", mail_to="drummer")


def test_a_song_goes_and_another_comes(at_windows: Begin, people: tuple[User, User]) -> None:
    booking = agreed(people, SONG, OTHER_SONG)
    on_desk(booking.songs.get(title=SONG), people)
    walk = at_windows(*people)
    waits = {SONG: ("drummer", "approve-map"), OTHER_SONG: ("client", "write-brief")}
    walk.stands("(one measured, one awaited)", "drummer", "approve-map", songs=waits)
    press_at(walk, "drummer", f"{walk.address(booking)}correct/", f"Take out {OTHER_SONG}")
    waits[OTHER_SONG] = ("nobody", "taken-out")
    walk.stands("the awaited one is taken out", "drummer", "approve-map", songs=waits, mail_to="client")
    walk.drummer.page.goto(walk.address(booking))
    walk.drummer.page.locator("#songs [name=title]").fill(ADDED_SONG)
    walk.drummer.press("Add the song")
    waits[ADDED_SONG] = ("client", "write-brief")
    walk.stands("another one is added", "drummer", "approve-map", songs=waits, mail_to="client")
    walk.drummer.page.goto(f"{walk.address(booking)}quote/")
    walk.drummer.page.locator("input[name$=-unit_price]").nth(1).fill("90")
    walk.drummer.press("Save and look at it")
    walk.drummer.press("Send to the client")
    walk.stands("the new quote is sent", "client", "answer-new-quote", songs=waits, mail_to="client")
    walk.client.page.goto(f"{walk.address(booking)}quote/")
    walk.client.accept_quote()
    walk.stands("the client accepts it", "drummer", "approve-map", songs=waits, mail_to="drummer")


def test_held_until_the_balance_and_accepted(at_windows: Begin, people: tuple[User, User], tmp_path: Path) -> None:
    tracking(agreed(people, balance=True).songs.get(), people)
    walk = at_windows(*people)
    hits = click_track(bpm=112, beats=8, sample_rate_hz=RATE_HZ).samples
    room = noise(duration_s=len(hits) / RATE_HZ, sample_rate_hz=RATE_HZ, seed=3)  # a microphone is never still
    hits = hits + 0.003 * room[: len(hits)]
    walk.drummer.deliver(walk.address(walk.song), [sound(tmp_path, "Kit.wav", hits)])
    walk.stands("a delivery is released", "client", "pay-balance", mail_to="client")
    walk.drummer.record_payment(walk.address(walk.booking), kind="balance", amount="120")
    walk.stands("the balance is recorded", "client", "accept-files", mail_to="client")
    walk.client.page.goto(walk.address(walk.song))
    walk.client.follow("Delivery 1")
    walk.client.accept_delivery()
    walk.stands("the client accepts the files", "nobody", "closed", mail_to="drummer")
