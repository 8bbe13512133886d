"""Every form that an account can find, filled with what no honest person types."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from html.parser import HTMLParser
from http.client import HTTPException
from urllib.parse import urlencode, urljoin, urlsplit

from tests.attacks.kinds import BROKEN, Outcome, Stop
from tests.attacks.target import Target

FORM = "application/x-www-form-urlencoded"
# As bytes, since half a character cannot be written as text.
HOSTILE = {
    "NUL": b"a\x00b",
    "bidi": "exe.\u202egnp\u2069\ufeff".encode(),
    "half a character": b"a\xed\xa0\x80b",
    "no UTF-8": b"\xff\xfe\xc0\xaf",
    "5,000 digits": b"9" * 5_000,
    "minus 5,000 digits": b"-" + b"9" * 5_000,
    "no number": b"NaN",
    "endless": b"1e999999999",
    "deep": b"[" * 20_000,
    "long": b"<script>" * 5_000,
}
STARTS = ("/", "/board/", "/desk/", "/messages/", "/search/?q=a")
MOST_PAGES = 200
# Each field gets three of the values: the house lets one address ask ten times a second, and there are many forms.
STEP = 4
NUMBER = re.compile(r"\d+")
KEPT = ("csrfmiddlewaretoken",)
# What would end the attack, or the house that it is made on.
LEFT_OUT = ("/sign-out/", "/support/", "/cancel/", "/password")


@dataclass
class Form:
    action: str
    fields: dict[str, str] = field(default_factory=dict)

    @property
    def kind(self) -> tuple[str, ...]:
        """The same for each song, file or message."""
        return (NUMBER.sub("N", self.action), *(NUMBER.sub("N", name) for name in self.fields))


class Page(HTMLParser):
    """The links and the forms of a page."""

    def __init__(self, path: str, text: str) -> None:
        super().__init__()
        self.path, self.links, self.forms, self.open = path, list[str](), list[Form](), False
        self.feed(text)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        said = {name: value or "" for name, value in attrs}
        if tag == "a" and said.get("href"):
            self.links.append(urlsplit(urljoin(self.path, said["href"]))._replace(fragment="").geturl())
        elif tag == "form":
            self.open = said.get("method", "").lower() == "post" and "file" not in said.get("enctype", "")
            if self.open:
                self.forms.append(Form(urljoin(self.path, said.get("action", ""))))
        elif self.open and tag in ("input", "textarea", "select", "button") and said.get("name"):
            self.forms[-1].fields.setdefault(said["name"], said.get("value", ""))

    def handle_endtag(self, tag: str) -> None:
        if tag == "form":
            self.open = False


def hostile_forms(target: Target, stop: Stop) -> Outcome:
    """Each form with all fields hostile, some times over, and with rows that the page did not have; each page's address
    with hostile questions. A form that stands on many pages is filled in once."""
    counts: Counter[int] = Counter()
    known: set[tuple[str, ...]] = set()
    for page in pages(target, stop):
        counts[ask_hostile(target, page.path)] += 1
        for form in page.forms:
            if not is_left_out(form.action) and form.kind not in known:
                known.add(form.kind)
                counts.update(post(target, form.action, said) for said in fillings(form) if not stop.is_set())
    broken = sum(number for status, number in counts.items() if status >= 500)
    return {"forms": len(known), "answers": dict(counts), BROKEN: broken}


def pages(target: Target, stop: Stop) -> Iterator[Page]:
    """What can be reached by links, each address once."""
    waiting, seen = list(STARTS), set(STARTS)
    for _ in range(MOST_PAGES):
        if not waiting or stop.is_set():
            return
        path = waiting.pop(0)
        answer = target.ask("GET", path)
        if answer.status == 200 and "text/html" in answer.headers.get("Content-Type", ""):
            page = Page(path, answer.body.decode())
            yield page
            new = [link for link in page.links if link.startswith("/") and link not in seen and not is_left_out(link)]
            waiting += dict.fromkeys(new)
            seen |= set(new)


def is_left_out(path: str) -> bool:
    return any(word in path for word in LEFT_OUT)


def fillings(form: Form) -> Iterator[dict[str, bytes]]:
    plain = {name: value.encode() for name, value in form.fields.items()}
    open_fields = [name for name in plain if name not in KEPT]
    values = list(HOSTILE.values())
    for turn in range(0, len(values), STEP):
        yield plain | {name: values[(at + turn) % len(values)] for at, name in enumerate(open_fields)}
    totals = [name for name in open_fields if name.endswith("-TOTAL_FORMS")]
    if totals:
        prefix = totals[0].removesuffix("-TOTAL_FORMS")
        more = {f"{prefix}-{number}-{name}": b"9" for number in range(3) for name in ("id", "note", "DELETE")}
        yield plain | more | {totals[0]: b"999"}


def ask_hostile(target: Target, path: str) -> int:
    """As long as an address may be."""
    said = {"q": HOSTILE["NUL"], "words": HOSTILE["half a character"], "page": HOSTILE["5,000 digits"][:3_000]}
    return status_of(target, "GET", f"{path.partition('?')[0]}?{urlencode(said)}", b"")


def post(target: Target, path: str, said: Mapping[str, bytes]) -> int:
    return status_of(target, "POST", path, urlencode(said).encode())


def status_of(target: Target, method: str, path: str, body: bytes) -> int:
    """0: there was no answer."""
    try:
        return target.ask(method, path, body, **({"Content_Type": FORM} if body else {})).status
    except (OSError, HTTPException):
        return 0
