"""Attack a house of your own on this machine, and say how its pages fare: `python -m tests.attacks`.

A small demo house is started in a folder that is thrown away; with `--behind-nginx` a house as in production, with
nginx, PostgreSQL and Redis. With `--url http://127.0.0.1:8000 --email ... --password ...` a house that runs already is
attacked, without what would leave files and messages in it. Addresses that are not on this machine are refused. A
page's p95 is given in seconds and as a ratio to the quiet house. It ends with 1 if a page did not answer within ten
seconds or an answer said that the house broke.
"""

from __future__ import annotations

import argparse
import json
import multiprocessing
import sys
import tempfile
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from queue import Empty
from typing import Any

from tests.attacks.attacks import ATTACKS
from tests.attacks.behind_nginx import house_behind_nginx
from tests.attacks.kinds import BROKEN, Attack, go_on
from tests.attacks.reader import Reading, read_pages
from tests.attacks.target import NotOursError, Target
from tests.houses import demo

STARTS_WITHIN_S, ENDS_WITHIN_S = 30, 120
PAGES = ("/", "/sign-in/", "/static/css/page.css")


def main(arguments: Sequence[str]) -> int:
    options = parse(arguments)
    try:
        with target_of(options) as target:
            report = attack_all(target, [one for one in ATTACKS if chosen(one, options)], for_s=options.seconds)
    except NotOursError as error:
        print(error, file=sys.stderr)
        return 2
    if options.json:
        options.json.write_text(json.dumps(report, indent=2) + "\n")
    bad = [row["attack"] for row in report["attacks"] if row["failed"] or row["broken"]]
    if bad:
        print(f"The house did not stand: {', '.join(bad)}.", file=sys.stderr)
    return 1 if bad else 0


def parse(arguments: Sequence[str]) -> argparse.Namespace:
    parser = argparse.ArgumentParser(prog="python -m tests.attacks", description=__doc__)
    parser.add_argument("--url", help="a running house on this machine (default: a demo house of its own)")
    parser.add_argument("--behind-nginx", action="store_true", help="a new house behind nginx, PostgreSQL and Redis")
    parser.add_argument("--email", default="", help="somebody of that house; its pages are read signed in")
    parser.add_argument("--leave-traces", action="store_true", help="with --url: attack with files and texts too")
    parser.add_argument("--password", default="")
    parser.add_argument("--seconds", type=float, default=15, help="how long each attack goes on (default: 15)")
    parser.add_argument("--from", dest="attacker", default="127.0.0.2", help="where attacks come from, on this machine")
    parser.add_argument("--only", action="append", default=[], help="an attack's name; may be given again")
    parser.add_argument("--json", type=Path, help="where to put the numbers as JSON")
    return parser.parse_args(arguments)


@contextmanager
def target_of(options: argparse.Namespace) -> Iterator[Target]:
    if options.url:
        people = dict.fromkeys(("client", "drummer"), (options.email, options.password))
        yield Target(options.url.rstrip("/"), people, options.attacker)
        return
    if options.behind_nginx:
        with tempfile.TemporaryDirectory() as folder, house_behind_nginx(Path(folder), options.attacker) as target:
            yield target
        return
    with tempfile.TemporaryDirectory() as folder, demo(Path(folder, "house")) as (_, house):
        people = {who: (house[who]["email"], house[who]["password"]) for who in ("client", "drummer")}
        yield Target(house["url"], people, options.attacker)


def chosen(attack: Attack, options: argparse.Namespace) -> bool:
    if options.url and attack.leaves_traces and not options.leave_traces:
        return False
    return not options.only or attack.name in options.only


def attack_all(target: Target, attacks: Sequence[Attack], *, for_s: float) -> dict[str, Any]:
    reader = target.signed_in("client")
    print(f"{'attack':<22}{'pages':>7}{'failed':>8}{'p95 s':>9}{'ratio':>8}  outcome")
    read_pages(reader, PAGES, for_s=2)  # the first pages of a new house are slower than all later ones
    quiet = read_pages(reader, PAGES, for_s=for_s)
    rows = [told("quiet", quiet, quiet, {})]
    for attack in attacks:
        reading, outcome = read_during(target, reader, attack, for_s=for_s)
        rows.append(told(attack.name, reading, quiet, outcome))
    return {"url": target.url, "seconds": for_s, "attacks": rows}


def read_during(target: Target, reader: Target, attack: Attack, *, for_s: float) -> tuple[Reading, Any]:
    """The attack has a process of its own, so that what it computes holds up the house and not the reader."""
    context = multiprocessing.get_context("spawn")
    stop, outcomes = context.Event(), context.Queue()
    attacked = target.signed_in(attack.who) if attack.who else target.stranger()
    attacker = context.Process(target=go_on, args=(attack, attacked, stop, outcomes), daemon=True)
    attacker.start()
    try:
        outcomes.get(timeout=STARTS_WITHIN_S)
        stop.wait(1.0)
        reading = read_pages(reader, PAGES, for_s=for_s)
        stop.set()
        outcome = outcomes.get(timeout=ENDS_WITHIN_S)
    except Empty:
        raise NotOursError(f"The attack “{attack.name}” did not go on as it should.") from None
    finally:
        stop.set()
        attacker.join(5)
        attacker.terminate()
    return reading, outcome


def told(name: str, reading: Reading, quiet: Reading, outcome: Any) -> dict[str, Any]:
    ratio, pages, failed = reading.p95_s / quiet.p95_s, len(reading.seconds), reading.failed
    print(f"{name:<22}{pages:>7}{failed:>8}{reading.p95_s:>9.3f}{ratio:>8.1f}  {outcome or ''}", flush=True)
    return {
        "attack": name,
        "pages": pages,
        "failed": failed,
        "p95_s": reading.p95_s,
        "ratio": ratio,
        "broken": outcome.get(BROKEN, 0),
        "outcome": outcome,
    }


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
