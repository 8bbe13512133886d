"""`manage.py demo`: a whole house on this machine, from an empty folder to its first page.

Knows nothing of Django: it prepares the settings of its parts, starts them and looks after them.
"""

import argparse
import json
import logging
import os
import sys
from collections.abc import Mapping, Sequence
from http.client import HTTPConnection, HTTPException
from pathlib import Path
from typing import Any

from portal.demo import broker, processes
from portal.demo.errors import DemoError
from portal.demo.folder_and_port import HOST, claim_folder, listen
from portal.demo.supervisor import StopAskedError, Supervisor

DEFAULT_PORT = 8000
HIGHEST_PORT = 65_535
QUEUE_STARTS_WITHIN_S = 30.0
PREPARED_WITHIN_S = 600.0
SITE_ANSWERS_WITHIN_S = 90.0
HTTP_OK = 200


def run(arguments: Sequence[str]) -> int:
    options = parse(arguments)
    logging.basicConfig(stream=sys.stderr, format="%(asctime)s %(message)s", level=logging.INFO)
    try:
        serve(options)
    except DemoError as error:
        print(error, file=sys.stderr)  # noqa: T201
        return error.exit_code
    except StopAskedError:
        pass
    return 0


def parse(arguments: Sequence[str]) -> argparse.Namespace:
    parser = argparse.ArgumentParser(prog="manage.py demo", description="Run a full demo on this machine.")
    parser.add_argument("--port", type=port_number, default=DEFAULT_PORT, help="port of the site (0: any free port)")
    parser.add_argument("--data", type=Path, default=processes.BASE_DIR / "var", help="data folder (default: var)")
    parser.add_argument("--json", action="store_true", help="one line of JSON instead of the greeting")
    parser.add_argument(
        processes.SMALL, action="store_true", help="a new house has two bookings only, and one worker (a slow machine)"
    )
    return parser.parse_args(arguments)


def port_number(word: str) -> int:
    if not word.isdecimal() or int(word) > HIGHEST_PORT:
        raise argparse.ArgumentTypeError(f"{word!r} is not a port: use a number from 0 to {HIGHEST_PORT}")
    return int(word)


def serve(options: argparse.Namespace) -> None:
    data_dir = options.data.expanduser().resolve()
    # Held open for as long as this process lives.
    _lock = claim_folder(data_dir)
    with listen(options.port) as door:
        port = door.getsockname()[1]
        queue_socket = None if os.environ.get("KITPOST_BROKER_URL") else broker.socket_path(data_dir)
        supervisor = Supervisor(house_environment(data_dir, port, queue_socket), data_dir / "logs")
        supervisor.heed_signals()
        try:
            if queue_socket:
                start_queue(supervisor, data_dir, queue_socket)
            house = json.loads(supervisor.run_once(processes.prepare(small=options.small), within_s=PREPARED_WITHIN_S))
            for worker in processes.workers(small=options.small):
                supervisor.start(worker)
            supervisor.start(processes.beat(data_dir))
            web = processes.web(door.fileno())
            supervisor.start(web)
            supervisor.wait_for(web, lambda: site_answers(port), within_s=SITE_ANSWERS_WITHIN_S)
            greet(house, as_json=options.json)
            supervisor.watch()
        finally:
            supervisor.stop()


def house_environment(data_dir: Path, port: int, queue_socket: Path | None) -> Mapping[str, str]:
    """The caller's settings, and on top of them what makes this folder and this port a demo."""
    environment = {
        **os.environ,
        "DJANGO_SETTINGS_MODULE": "portal.settings",
        "PYTHONUNBUFFERED": "1",
        "KITPOST_DEMO": "true",
        "KITPOST_DATA_DIR": str(data_dir),
        "KITPOST_BASE_URL": f"http://{HOST}:{port}",
    }
    if queue_socket:
        environment |= {"KITPOST_BROKER_URL": broker.broker_url(queue_socket), "KITPOST_SOLE_WORKER": "true"}
    return environment


def start_queue(supervisor: Supervisor, data_dir: Path, queue_socket: Path) -> None:
    queue = processes.queue(broker.command(data_dir, queue_socket))
    supervisor.start(queue)
    supervisor.wait_for(queue, lambda: broker.answers(queue_socket), within_s=QUEUE_STARTS_WITHIN_S)


def site_answers(port: int) -> bool:
    site = HTTPConnection(HOST, port, timeout=5)
    try:
        site.request("GET", "/healthz")
        return site.getresponse().status == HTTP_OK
    except (OSError, HTTPException):
        return False
    finally:
        site.close()


def greet(house: Mapping[str, Any], *, as_json: bool) -> None:
    print(json.dumps(house) if as_json else greeting(house), flush=True)  # noqa: T201


def greeting(house: Mapping[str, Any]) -> str:
    people = (("drummer", "the drummer"), ("client", "a client"), ("other_client", "a client of another booking"))
    rows = [f"  {label:<28}{house[key]['email']:<30}{house[key]['password']}" for key, label in people]
    return "\n".join(["", f"Kitpost is at {house['url']}", "", "Sign in as", *rows, "", "Ctrl-C ends it.", ""])
