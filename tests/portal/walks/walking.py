"""A drummer and a client at their windows, and what all pages and e-mails say about the turn after each step.

What each wait means in words is taken from `portal.bookings.turn_words`; who is waited for, and what for, is written
down in each walk. Pages are read in the readers' own windows, so with their sign-in, as the browser parses them.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from typing import Any

from django.test import Client as DjangoClient
from playwright.sync_api import Page, expect

from portal.bookings.models import Booking, Song
from portal.bookings.stages import INTAKE_STAGES
from portal.bookings.turn_words import WORDS_BY_CODE
from portal.mailroom.models import Mail
from portal.people.models import User
from tests.flows.course import see_nothing
from tests.flows.people import Client, Drummer

DRUMMER, CLIENT = "Jo Quillfen", "Mara Sandquell"
OF_THE_BOOKING = ("write-quote", "send-quote", "renew-quote", "answer-quote", "answer-new-quote", "add-song")
OVER = ("closed", "declined", "cancelled")
PAYMENTS = {"pay-deposit", "pay-balance"}
# A booking says its songs' turn by whoever comes first here.
ORDER = ("drummer", "client", "house")
READ = r"""addresses => Promise.all(addresses.map(async address => {
  const answer = await fetch(address);
  const page = new DOMParser().parseFromString(await answer.text(), "text/html");
  const text = part => part ? part.textContent.replace(/\s+/g, " ").trim() : "";
  const rows = name => [...page.querySelectorAll(name)].map(row => [
    text(row.querySelector("a")), text(row.querySelector(".turn-word")),
    text(row.querySelector("[data-label=Status]"))]);
  return {
    status: answer.status,
    who: text(page.querySelector(".turn .who")), what: text(page.querySelector(".turn .what")),
    also: text(page.querySelector(".turn-also")),
    yours: [...page.querySelectorAll(".turn-word.yours")].map(text),
    cards: rows(".card"), songs: rows("#songs tbody tr"), desk: rows("#desk tbody tr"),
  };
}))"""

Turn = tuple[str, str]  # who, and what for


@dataclass
class Walk:
    """`told` keeps every step in words: what the walk's table shows."""

    name: str
    url: str
    drummer: Drummer
    client: Client
    told: list[tuple[str, ...]] = field(default_factory=list)
    mails_seen: int = 0

    @property
    def booking(self) -> Booking:
        return Booking.objects.order_by("pk").last() or Booking()

    @property
    def song(self) -> Song:
        return self.booking.songs.order_by("pk")[0]

    def address(self, row: Booking | Song, more: str = "") -> str:
        return f"{self.url}{row.get_absolute_url()}{more}"

    def stands(
        self,
        step: str,
        who: str,
        code: str,
        *,
        mail_to: str = "",
        songs: dict[str, Turn] | None = None,
        unseen: bool = False,
    ) -> None:
        """After `step` the booking waits for `who`, for `code`, and so do its songs, unless `songs` names others by
        title. E-mails went to `mail_to`. `unseen`: nothing of it is on the client's pages."""
        waits = songs or {song.title: (who, code) for song in self.booking.songs.all()}
        own = (who, code) if code in (*OF_THE_BOOKING, *OVER) else None
        mails = self._new_mails()
        self.told.append((step, who, code, " ".join(sorted(mails))))
        assert mails.keys() == set(mail_to.split()), (step, mails)
        for side, person in (("drummer", self.drummer), ("client", self.client)):
            if side == "client" and unseen:
                assert read(person.page, [self.address(self.booking)])[0]["status"] == 404
                assert not read(person.page, [f"{self.url}/board/"])[0]["cards"]
            else:
                Reading(self, side, person.page, own, waits).check(step)
            for mail in mails.get(side, []):
                self._check_mail(step, mail, side, person.page, [wait for wait in [own, *waits.values()] if wait])

    def _new_mails(self) -> dict[str, list[Mail]]:
        mails = list(Mail.objects.order_by("pk"))[self.mails_seen :]
        self.mails_seen += len(mails)
        sides: dict[str, list[Mail]] = {}
        for mail in mails:
            sides.setdefault("drummer" if mail.to.startswith("jo@") else "client", []).append(mail)
        return sides

    def _check_mail(self, step: str, mail: Mail, side: str, page: Page, waits: list[Turn]) -> None:
        """What it asks is what its reader is waited for, and its link leads to a page that says so."""
        asked = {code for code, words in WORDS_BY_CODE.items() if words.yours and words.yours in mail.body}
        assert asked <= {code for who, code in waits if who == side}, (step, mail.body)
        link = re.search(r"http://testserver(/\S*)", mail.body)
        assert link is not None, mail.body
        if "/invitations/" not in link[1]:
            shown = read(page, [link[1]])[0]
            assert shown["status"] == 200, (step, link[1])
            if shown["who"]:
                assert shown["who"].startswith("Your turn") == any(who == side for who, _ in waits), (step, link[1])


@dataclass
class Reading:
    """What one reader's pages have to say: `own` is the wait of the booking itself, `waits` are those of its songs."""

    walk: Walk
    side: str
    page: Page
    own: Turn | None
    waits: dict[str, Turn]

    def check(self, step: str) -> None:
        booking = self.walk.booking
        songs = list(booking.songs.all())
        pages = {"board": "/board/", "booking": booking.get_absolute_url(), "quote": f"/bookings/{booking.pk}/quote/"}
        pages |= {song.title: song.get_absolute_url() for song in songs}
        queued = [song for song in songs if song.stage in INTAKE_STAGES and not booking.is_over]
        if self.side == "drummer":
            pages |= {"desk": "/desk/"} | {f"sheet of {song.title}": f"/songs/{song.pk}/sheet/" for song in queued}
        shown = dict(zip(pages, read(self.page, list(pages.values())), strict=True))
        assert {name: page["status"] for name, page in shown.items()} == dict.fromkeys(pages, 200), step
        for name, page in shown.items():
            is_any = self.is_waited_for if name in ("board", "booking", "quote", "desk") else self._is_song_mine(name)
            assert is_any or not page["yours"], (step, self.side, name, page["yours"])
        self._check_booking(step, shown)
        for title, wait in self.waits.items():
            for name in (title, f"sheet of {title}"):
                if name in shown:
                    self._same(step, name, shown[name], self.who(wait), self.sentence(wait))
            assert bool(shown[title]["also"]) == (self.own is not None and self.own[1] == "answer-new-quote"), step
        if self.side == "drummer":
            self._check_desk(step, shown["desk"], [song.title for song in queued])

    @property
    def is_waited_for(self) -> bool:
        return any(who == self.side for who, _ in [self.own or ("", ""), *self.waits.values()])

    def _is_song_mine(self, name: str) -> bool:
        return self.waits[name.removeprefix("sheet of ")][0] == self.side

    def who(self, wait: Turn) -> str:
        if wait[0] == self.side:
            return "Your turn"
        names = {"drummer": DRUMMER, "client": CLIENT, "house": "our checks"}
        return f"With {names[wait[0]]}" if wait[0] in names else "Nobody’s turn"

    def sentence(self, wait: Turn) -> str:
        words = WORDS_BY_CODE[wait[1]]
        text = (words.yours if wait[0] == self.side else words.theirs).format(drummer=DRUMMER, client=CLIENT)
        return text[:1].upper() + text[1:]

    def _booking_says(self) -> tuple[str, str]:
        """Who, and the sentence: the booking's own wait, else that of its songs."""
        mine = [(title, wait) for title, wait in self.waits.items() if wait[0] == self.side]
        if self.own and (self.own[0] == self.side or not mine):
            return self.who(self.own), self.sentence(self.own)
        first = self.side if mine else next(who for who in ORDER if any(wait[0] == who for wait in self.waits.values()))
        theirs = [(title, wait) for title, wait in self.waits.items() if wait[0] == first]
        who = self.who(theirs[0][1])
        if first == "house":
            return who, "Our checks are measuring the files."
        if {code for _, (_, code) in theirs} < PAYMENTS:  # one payment is due for all songs
            return who, self.sentence(theirs[0][1])
        if len(theirs) > 1:
            return who, f"{len(theirs)} songs are waiting for {'you' if mine else who.removeprefix('With ')}."
        return who, f"“{theirs[0][0]}”: {self.sentence(theirs[0][1])}"

    def _check_booking(self, step: str, shown: dict[str, Any]) -> None:
        who, what = self._booking_says()
        for name in ("booking", "quote"):
            self._same(step, name, shown[name], who, what)
        is_over = self.own is not None and self.own[1] in OVER
        cards = [(self.walk.booking.title, who.replace("Your", "your").replace("With", "with"))]
        assert [tuple(card[:2]) for card in shown["board"]["cards"]] == ([] if is_over else cards), (step, self.side)
        short = {"Your turn": "your turn", "Nobody’s turn": "nobody’s turn"}
        rows = {
            title: short.get(self.who(wait), self.who(wait).replace("With", "with"))
            for title, wait in self.waits.items()
        }
        assert {row[0]: row[1] for row in shown["booking"]["songs"]} == rows, (step, self.side)

    def _check_desk(self, step: str, desk: dict[str, Any], queued: list[str]) -> None:
        """By name the sides stand elsewhere: in this list it is "The client", whoever that is."""
        words = {"drummer": "Your turn", "client": "The client", "house": "Our checks"}
        rows = {title: (turn.partition(",")[0], status) for title, turn, status in desk["desk"]}
        assert {title: turn for title, (turn, _) in rows.items()} == {
            title: words[self.waits[title][0]] for title in queued
        }, step
        for title, (_, status) in rows.items():
            said = [one for one in sentences(self.side) if one in status]
            assert said in ([], [self.sentence(self.waits[title])]), (step, title, status)

    def _same(self, step: str, name: str, page: dict[str, Any], who: str, what: str) -> None:
        says = page["who"].partition(",")[0], page["what"]
        assert says == (who, what), f"{step}: the {self.side}’s {name} page says {says}, not {(who, what)}"


def sentences(side: str) -> set[str]:
    """Everything that a banner can say to the drummer or to the client."""
    waits = [(who, code) for code in WORDS_BY_CODE for who in ("drummer", "client")]
    return {
        text
        for wait in waits
        if (text := Reading.sentence(Reading(None, side, None, None, {}), wait))  # type: ignore[arg-type]
    }


def read(page: Page, addresses: list[str]) -> list[dict[str, Any]]:
    found: list[dict[str, Any]] = page.evaluate(READ, addresses)
    return found


def sign_in(page: Page, url: str, user: User) -> None:
    browser = DjangoClient()
    browser.force_login(user)
    page.context.add_cookies([{"name": "sessionid", "value": browser.cookies["sessionid"].value, "url": url}])
    page.goto(f"{url}/board/")
    expect(page.get_by_role("button", name="Sign out")).to_be_visible()


def begin(name: str, url: str, pages: tuple[Page, Page], people: tuple[User, User | None]) -> Walk:
    """Both are at their boards; a client who is not known yet signs in by an invitation."""
    drummer, client = (kind(page, url, see_nothing) for kind, page in zip((Drummer, Client), pages, strict=True))
    for page, user in zip(pages, people, strict=True):
        if user is not None:
            sign_in(page, url, user)
    assert isinstance(drummer, Drummer)
    assert isinstance(client, Client)
    return Walk(name, url, drummer, client)
