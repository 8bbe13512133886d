"""The attacks themselves: they reach only this machine, do what they say, and end when they are told to."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterable
from threading import Event, Thread
from typing import Any

import pytest

from portal.serving.limits import Limits
from tests.attacks import __main__ as command
from tests.attacks.__main__ import main
from tests.attacks.attacks import ATTACKS
from tests.attacks.kinds import BROKEN, Attack
from tests.attacks.reader import Reading, read_pages
from tests.attacks.target import NotOursError, Target
from tests.attacks.texts import hostile_forms
from tests.portal.serving.house import house

needs_addresses = pytest.mark.skipif(sys.platform != "linux", reason="127.0.0.2 is this machine's on Linux alone")


def application(environ: dict[str, Any], start: Callable[..., Any]) -> Iterable[bytes]:
    is_too_long = int(environ.get("CONTENT_LENGTH") or 0) > 64_000
    start("413 Content Too Large" if is_too_long else "200 OK", [("Content-Length", "3")])
    return [b"ok\n"]


@pytest.mark.parametrize("url", ["http://203.0.113.7:8000", "http://10.0.0.1", "http://[", "http://0.0.0.0:80"])
def test_a_house_that_is_not_on_this_machine_is_not_attacked(url: str, capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(NotOursError):
        Target(url)
    assert main(["--url", url]) == 2
    assert url in capsys.readouterr().err


@needs_addresses
@pytest.mark.parametrize("attack", [one for one in ATTACKS if not one.who], ids=lambda one: one.name)
def test_pages_are_read_while_it_goes_on_and_it_ends(attack: Attack) -> None:
    with house(application, Limits()) as opened:
        target, stop, outcomes = Target(f"http://127.0.0.1:{opened.port}"), Event(), []
        attacker = Thread(target=lambda: outcomes.append(attack.run(target.stranger(), stop)))
        attacker.start()
        reading = read_pages(target, ["/"], for_s=0.5)
        stop.set()
        attacker.join(30)
    assert not attacker.is_alive()
    assert outcomes[0]
    assert reading.failed == 0


def fragile(environ: dict[str, Any], start: Callable[..., Any]) -> Iterable[bytes]:
    """One form, which breaks whatever is sent."""
    page = b"""<a href="/b/">next</a><form method="post" action="/songs/7/brief/"><input name="csrfmiddlewaretoken"
        value="x"><input name="rows-TOTAL_FORMS" value="1"><textarea name="notes"></textarea></form>"""
    said = environ["wsgi.input"].read()
    status = "500 Internal Server Error" if said else "200 OK"
    if said:
        assert environ["PATH_INFO"] == "/songs/7/brief/"
        assert b"csrfmiddlewaretoken=x" in said
    start(status, [("Content-Type", "text/html"), ("Content-Length", str(len(page)))])
    return [page]


@needs_addresses
def test_a_form_is_filled_in_once_and_an_answer_that_the_house_broke_is_counted() -> None:
    with house(fragile, Limits()) as opened:
        outcome = hostile_forms(Target(f"http://127.0.0.1:{opened.port}").stranger(), Event())
    # Three fillings, and one with rows that were not there.
    assert (outcome["forms"], outcome[BROKEN]) == (1, 4)


def test_a_house_that_does_not_stand_ends_the_command_with_1(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    rows = [{"attack": "quiet", "failed": 0, "broken": 0}, {"attack": "idle connections", "failed": 1, "broken": 0}]
    monkeypatch.setattr(command, "attack_all", lambda *_, **__: {"attacks": rows})
    assert main(["--url", "http://127.0.0.1:9"]) == 1
    assert "idle connections" in capsys.readouterr().err
    rows.pop()
    assert main(["--url", "http://127.0.0.1:9"]) == 0


def test_a_page_that_fails_counts_as_the_longest_wait() -> None:
    assert Reading([0.1] * 18 + [10.0] * 2, failed=2).p95_s == 10.0
