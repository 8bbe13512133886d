"""Four stems of a song in 6/8 come over a slow line. Nothing is said of the song before all of it is there: one check,
one message, one e-mail, through a whole demo house and a real browser."""

from __future__ import annotations

import re
import sqlite3
import time
from contextlib import closing
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
from playwright.sync_api import expect

from analysis.band.clock import Steady
from analysis.band.render import render_stems, write_wav
from analysis.band.score import SongPlan, write_score
from tests.flows.course import see_nothing
from tests.flows.people import MEASURED_WITHIN_MS, Client, NewWindow, windows
from tests.houses import OpenHouse, needs_proc
from tests.portal.demo.waiting import until

if TYPE_CHECKING:
    from playwright.sync_api import Browser

pytestmark = [pytest.mark.browser, needs_proc]
RATE_HZ = 48_000
BYTES_PER_S = 600_000
FORM = (("verse", 4), ("chorus", 4))
STEMS = ("bass", "keys", "strings", "pad")
# Longer than the quiet time of a demo (5 s): a house that speaks after every file would have spoken again.
LISTENED_FOR_S = 8


@dataclass(frozen=True)
class Said:
    """What a house has said of the song that the slow line brings."""

    checks: int
    messages: tuple[str, ...]
    mails: tuple[str, ...]


@pytest.fixture(scope="module")
def stems(tmp_path_factory: pytest.TempPathFactory) -> list[Path]:
    folder = tmp_path_factory.mktemp("stems")
    plan = SongPlan("Ladder Coupon Under Soup", 8, Steady(Fraction(70)), feel="rolling", players=STEMS, form=FORM)
    played = render_stems(write_score(plan), RATE_HZ)
    return [write_wav(folder / f"{name}.wav", played[name], RATE_HZ) for name in STEMS]


def said_of(data_dir: Path, song_id: int) -> Said:
    with closing(sqlite3.connect(data_dir / "kitpost.sqlite3", timeout=30)) as database:
        ask = database.execute
        done = "SELECT count(*) FROM intake_songcheck WHERE made_at IS NOT NULL AND song_id = ?"
        posted = "SELECT body FROM mailroom_message WHERE song_id = ? ORDER BY id"
        mailed = "SELECT mail.body FROM mailroom_mail mail JOIN mailroom_message ON message_id = mailroom_message.id"
        return Said(
            checks=ask(done, [song_id]).fetchone()[0],
            messages=tuple(body for (body,) in ask(posted, [song_id])),
            mails=tuple(body for (body,) in ask(f"{mailed} WHERE song_id = ? ORDER BY mail.id", [song_id])),
        )


def at_the_song(new_window: NewWindow, house: OpenHouse, song: str, *, bytes_per_s: int = BYTES_PER_S) -> Client:
    """The demo's client, at this song, which waits for its files, on a slow line."""
    client = Client(new_window(), house.said["url"], see_nothing)
    client.sign_in(house.said["client"]["email"], house.said["client"]["password"])
    client.page.goto(song)
    line = client.page.context.new_cdp_session(client.page)
    line.send(
        "Network.emulateNetworkConditions",
        {"offline": False, "latency": 40, "downloadThroughput": -1, "uploadThroughput": bytes_per_s},
    )
    return client


def choose(client: Client, paths: list[Path]) -> None:
    client.section("Files").locator(".dropzone input[type=file]").set_input_files([str(path) for path in paths])


def test_four_stems_over_a_slow_line_bring_one_message(
    chromium: Browser, quiet_house: OpenHouse, stems: list[Path]
) -> None:
    data_dir, (song, song_id) = quiet_house.data_dir, quiet_house.add_song("Ladder Coupon Under Soup")
    with windows(chromium) as new_window:
        client = at_the_song(new_window, quiet_house, song)
        began_at = time.monotonic()
        client.send_files(client.section("Files"), stems)
        sent_in_s = time.monotonic() - began_at
        until(lambda: said_of(data_dir, song_id).checks > 0, within_s=MEASURED_WITHIN_MS / 1_000)
        client.page.wait_for_timeout(LISTENED_FOR_S * 1_000)
        said = said_of(data_dir, song_id)

    sizes = sum(path.stat().st_size for path in stems)
    assert sent_in_s > sizes / BYTES_PER_S / 2  # the line was slow
    assert (said.checks, len(said.messages), len(said.mails)) == (1, 1, 1), said


def let_the_tab_be_forgotten(data_dir: Path, song_id: int) -> None:
    """As if the minutes had passed after which a silent tab, and what it was sending, are no longer waited for, and a
    sweep that came before looks again."""
    with closing(sqlite3.connect(data_dir / "kitpost.sqlite3", timeout=30)) as database:
        database.execute("UPDATE intake_announcement SET expires_at = datetime('now', '-1 minute')")
        database.execute("UPDATE uploads_upload SET touched_at = datetime('now', '-10 minutes') WHERE state = 'open'")
        database.execute("UPDATE bookings_song SET turn_since = datetime('now', '-10 minutes') WHERE id = ?", [song_id])
        surveyed = "UPDATE intake_sourcefile SET survey_began_at = datetime('now', '-10 minutes') WHERE song_id = ?"
        database.execute(f"{surveyed} AND status = 'surveyed'", [song_id])
        database.commit()


def test_a_tab_closed_in_mid_drop_does_not_keep_the_rest_waiting(
    chromium: Browser, quiet_house: OpenHouse, stems: list[Path]
) -> None:
    data_dir, (song, song_id) = quiet_house.data_dir, quiet_house.add_song("Blunt Thimble Past Turnip")
    with windows(chromium) as new_window:
        client = at_the_song(new_window, quiet_house, song)
        choose(client, stems)
        expect(client.page.locator("#files tbody tr")).to_have_count(2, timeout=MEASURED_WITHIN_MS)
        client.page.close(run_before_unload=False)
        assert said_of(data_dir, song_id).checks == 0

        def is_checked() -> bool:
            let_the_tab_be_forgotten(
                data_dir, song_id
            )  # again: what was under way when the tab closed is noted after that
            return said_of(data_dir, song_id).checks > 0

        until(is_checked, within_s=MEASURED_WITHIN_MS / 1_000)
        said = said_of(data_dir, song_id)
    assert (said.checks, len(said.messages)) == (1, 1), said


def test_two_browsers_at_once_bring_one_message(chromium: Browser, quiet_house: OpenHouse, stems: list[Path]) -> None:
    first, *rest = stems
    data_dir, (song, song_id) = quiet_house.data_dir, quiet_house.add_song("Grey Hinge Among Beans")
    with windows(chromium) as new_window:
        fast = at_the_song(new_window, quiet_house, song, bytes_per_s=20 * BYTES_PER_S)
        slow = at_the_song(new_window, quiet_house, song)
        choose(slow, rest)
        expect(slow.page.locator(".upload .state").first).to_have_text("Sending")
        fast.send_files(fast.section("Files"), [first])
        fast.say_that_is_all()
        fast.sees(re.compile(r"still being sent from your browser"))
        assert said_of(data_dir, song_id).checks == 0

        expect(slow.page.locator(".uploads-total .sum")).to_have_text(
            re.compile("^3 files received"), timeout=MEASURED_WITHIN_MS
        )
        until(lambda: said_of(data_dir, song_id).checks > 0, within_s=MEASURED_WITHIN_MS / 1_000)
        slow.page.wait_for_timeout(LISTENED_FOR_S * 1_000)
        said = said_of(data_dir, song_id)
    assert (said.checks, len(said.messages), len(said.mails)) == (1, 1, 1), said
