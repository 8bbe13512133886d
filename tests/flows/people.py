"""The two people of a booking at their browsers. They know only what the pages say: no code of the portal is used."""

import re
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path

from playwright.sync_api import Browser, BrowserContext, Download, Locator, Page, expect

# A short song is surveyed and measured in a few seconds; a slow machine may need more.
MEASURED_WITHIN_MS = 180_000
PASSWORD = "seven-quiet-rooms-41"

Look = Callable[[Page, str], None]
NewWindow = Callable[[], Page]


@contextmanager
def windows(browser: Browser) -> Iterator[NewWindow]:
    """Opens windows, each of somebody who has not signed in. They close at the end: a page left open asks on and on."""
    contexts: list[BrowserContext] = []

    def new_window() -> Page:
        contexts.append(browser.new_context())
        return contexts[-1].new_page()

    try:
        yield new_window
    finally:
        for context in contexts:
            context.close()


class Person:
    """`look` is called with the page and a name whenever there is something worth seeing."""

    def __init__(self, page: Page, url: str, look: Look) -> None:
        self.page, self.url, self._look = page, url, look

    def look(self, name: str) -> None:
        self._look(self.page, name)

    def sign_in(self, email: str, password: str) -> None:
        self.page.goto(f"{self.url}/sign-in/")
        self.look("sign-in")
        self.page.locator("input[name=username]").fill(email)
        self.page.locator("input[name=password]").fill(password)
        self.press("Sign in")
        expect(self.page.get_by_role("button", name="Sign out")).to_be_visible()

    def press(self, words: str | re.Pattern[str]) -> None:
        """Press a button and wait for the page that answers."""
        self.press_button(self.page.locator("main").get_by_role("button", name=words).first)

    def press_button(self, button: Locator) -> None:
        with self.page.expect_navigation():
            button.click()

    def follow(self, words: str | re.Pattern[str]) -> None:
        """Follow a link and wait for the page, or the place on this page, that it leads to."""
        with self.page.expect_navigation():
            self.page.locator("main").get_by_role("link", name=words).first.click()

    def sees(self, words: str | re.Pattern[str], *, within_ms: float = 15_000) -> None:
        expect(self.page.locator("main").get_by_text(words).first).to_be_visible(timeout=within_ms)

    def section(self, title: str) -> Locator:
        heading = self.page.get_by_role("heading", name=title, level=2)
        return self.page.locator("section.sheet").filter(has=heading).first

    def send_files(self, section: Locator, paths: Sequence[Path]) -> None:
        """Choose several files at once, and wait until the house says of each that it was received."""
        section.locator(".dropzone input[type=file]").set_input_files([str(path) for path in paths])
        words = re.compile(f"^{len(paths)} files? received, ")
        expect(section.locator(".uploads-total .sum")).to_have_text(words, timeout=MEASURED_WITHIN_MS)
        expect(section.locator(".upload")).to_have_count(0)  # the next ones are counted again

    def download(self, link: Locator) -> bytes:
        with self.page.expect_download() as waiting:
            link.click()
        file: Download = waiting.value
        return Path(file.path()).read_bytes()


class Drummer(Person):
    def open_booking(self, *, title: str, songs: Sequence[str], client_name: str, client_email: str) -> None:
        self.page.goto(f"{self.url}/bookings/new/")
        self.page.locator("[name=title]").fill(title)
        self.page.locator("[name=song_titles]").fill("\n".join(songs))
        self.page.locator("[name=due_on]").fill("2030-03-01")
        self.page.locator("[name=client_name]").fill(client_name)
        self.page.locator("[name=client_email]").fill(client_email)
        self.look("new-booking")
        self.press("Create the booking and write the quote")

    def send_quote(self, *, line: str, price: str) -> None:
        self.page.locator("input[name$=-text]").first.fill(line)
        self.page.locator("input[name$=-quantity]").first.fill("1")
        self.page.locator("input[name$=-unit_price]").first.fill(price)
        self.page.locator("[name=deposit_percent]").fill("50")
        self.page.locator("[name=balance_before_files]").check()
        self.page.locator("[name=valid_until]").fill("2030-01-01")
        self.page.locator("[name=terms]").fill("One whole performance. Two rounds of changes are included.")
        self.look("quote-editor")
        self.press("Save and look at it")
        self.look("quote-preview")
        self.press("Send to the client")

    def invitation_link(self, client_email: str) -> str:
        """What the client finds in the e-mail; here the drummer's page of sent mail shows the same e-mail."""
        self.page.goto(f"{self.url}/mail/")
        letter = self.page.locator("details").filter(has_text=client_email).first
        letter.locator("summary").click()
        self.look("mail")
        link = letter.locator("a[href*='/invitations/']").first.get_attribute("href")
        assert link is not None
        return link

    def record_payment(self, booking_url: str, *, kind: str, amount: str) -> None:
        self.page.goto(booking_url)
        self.follow("Record a payment")
        if not self.page.locator("[name=kind]").is_visible():
            self.page.locator("summary", has_text="Record a payment").click()
        self.page.locator("[name=kind]").select_option(kind)
        self.page.locator("[name=amount]").fill(amount)
        self.look(f"payment-{kind}")
        self.press("Record payment")

    def take_from_desk(self, song: str) -> None:
        self.page.goto(f"{self.url}/desk/")
        self.look("desk")
        self.follow(song)

    def approve(self) -> None:
        self.look("song-sheet")
        self.press(re.compile("Approve as measured"))

    def mark_ready(self) -> None:
        self.press("Ready to track")

    def start_tracking(self, song_url: str) -> None:
        self.page.goto(song_url)
        self.look("ready")
        self.press("Start tracking")

    def send_rough_mix(self, path: Path, *, note: str) -> None:
        self.send_files(self.section("Rough mixes"), [path])
        expect(self.page.locator("[data-player]").first).to_be_visible(timeout=MEASURED_WITHIN_MS)
        self.section("Rough mixes").locator("[name=note]").fill(note)
        self.look("rough-mix-to-send")
        self.press(re.compile("^Send rough mix"))

    def deliver(self, song_url: str, tracks: Sequence[Path]) -> None:
        self.page.goto(song_url)
        self.press("Open a delivery")
        self.send_files(self.section("Tracks"), tracks)
        self.page.reload()
        self.press("Check the set")
        expect(self.page.get_by_role("button", name=re.compile("^Release delivery"))).to_be_visible(
            timeout=MEASURED_WITHIN_MS
        )
        self.look("delivery-checked")
        self.press(re.compile("^Release delivery"))


class Client(Person):
    def take_invitation(self, link: str) -> None:
        self.page.goto(link)
        self.look("invitation")
        self.page.locator("input[type=password]").first.fill(PASSWORD)
        self.press("Accept the invitation")

    def accept_quote(self) -> None:
        self.look("quote")
        self.press(re.compile("^I accept this quote"))

    def write_brief(self, song_url: str, *, notes: str) -> None:
        self.page.goto(song_url)
        self.look("song-waiting")
        self.follow("Write the brief")
        self.page.locator("[name=notes]").fill(notes)
        self.look("brief")
        self.press("Save the brief")

    def send_stems(self, song_url: str, stems: Sequence[Path]) -> None:
        self.page.goto(song_url)
        self.send_files(self.section("Files"), stems)
        self.look("files-sent")
        self.say_that_is_all()

    def say_that_is_all(self) -> None:
        button = self.section("Files").get_by_role("button", name="That is all")
        button.click()
        expect(button).to_have_count(0)

    def answer(self, words: str | re.Pattern[str]) -> None:
        button = self.page.locator("main").get_by_role("button", name=words).first
        expect(button).to_be_visible(timeout=MEASURED_WITHIN_MS)
        self.look("question")
        button.click()
        self.press("Send my answers")

    def accept_rough_mix(self, song_url: str) -> None:
        self.page.goto(song_url)
        expect(self.page.locator("[data-player]").first).to_be_visible()
        self.look("rough-mix")
        self.press(re.compile("^I accept rough mix"))

    def ask_for_change(self, song_url: str, words: str) -> None:
        self.page.goto(song_url)
        self.page.locator("summary", has_text="Ask for a change").click()
        self.page.locator("textarea[name=words]").fill(words)
        self.press("Ask for a change")

    def accept_delivery(self) -> None:
        self.press("I accept this delivery")
