"""The whole demo, as a person starts it: every part is a real process."""

import json
import os
import signal
from pathlib import Path

import pytest

from portal.demo import broker, command, folder_and_port
from tests.houses import SAID_WHEN_NEW, demo, is_whole, needs_proc, pid_of, processes_of, start, status_of
from tests.portal.demo.waiting import PATIENCE_S, until

SIGN_INS = ("drummer", "client", "other_client")


@needs_proc
def test_a_house_opens_in_an_empty_folder(settled_house: Path) -> None:
    """That it answered, measured what it was sent, and ended cleanly, `settle` has seen."""
    house = json.loads((settled_house / SAID_WHEN_NEW).read_text())
    assert set(house) == {"url", *SIGN_INS, "booking", "song", "tus"}
    assert len({house[who]["password"] for who in SIGN_INS}) == 3


@needs_proc
def test_a_house_survives_what_is_done_to_it_opens_again_as_it_was_and_ends_cleanly(house_dir: Path) -> None:
    with demo(house_dir) as (process, before):
        assert status_of(f"{before['url']}/sign-in/") == 200
        second = start(house_dir)
        assert second.communicate(timeout=PATIENCE_S)[1].startswith(f"The folder {house_dir} is in use by another demo")
        assert second.returncode == 2

        for part in ("valkey-server", "celery -A portal worker", "gunicorn"):
            killed = pid_of(house_dir, part)
            os.kill(killed, signal.SIGKILL)
            until(lambda: killed not in processes_of(house_dir))  # noqa: B023  called before the next round
            until(lambda: any(part in line for line in processes_of(house_dir).values()))  # noqa: B023
        until(lambda: status_of(f"{before['url']}/healthz") == 200)

        process.kill()
        until(lambda: processes_of(house_dir) == {})
        assert is_whole(house_dir)

    with demo(house_dir) as (process, after):
        assert [after[who] for who in SIGN_INS] == [before[who] for who in SIGN_INS]
        assert status_of(f"{after['url']}/sign-in/") == 200

        process.send_signal(signal.SIGINT)
        rest, _ = process.communicate(timeout=PATIENCE_S)
        assert (process.returncode, rest) == (0, "")
        assert processes_of(house_dir) == {}


@pytest.mark.parametrize("port", ["-1", "65536", "http", "8000.5"])
def test_a_port_that_is_none_is_wrong_usage(port: str, capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit) as refusal:
        command.parse([f"--port={port}"])

    assert refusal.value.code == 2
    assert f"{port!r} is not a port" in capsys.readouterr().err


def test_a_port_in_use_is_said_in_one_sentence(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(folder_and_port, "PORT_PATIENCE_S", 0)
    with folder_and_port.listen(0) as door:
        port = door.getsockname()[1]

        assert command.run(["--port", str(port), "--data", str(tmp_path)]) == 2

    assert capsys.readouterr().err == f"Port {port} is in use; name another one with --port.\n"


def test_without_a_queue_server_the_demo_says_what_to_do(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.delenv("KITPOST_BROKER_URL", raising=False)
    monkeypatch.setattr(broker, "wheel_server", lambda: None)
    monkeypatch.setenv("PATH", str(tmp_path))
    handlers = {number: signal.getsignal(number) for number in (signal.SIGINT, signal.SIGTERM, signal.SIGHUP)}

    assert command.run(["--port", "0", "--data", str(tmp_path / "house")]) == 1

    for number, handler in handlers.items():
        signal.signal(number, handler)
    assert "No queue server was found" in capsys.readouterr().err


def test_the_greeting_names_the_address_and_three_people() -> None:
    house = {
        "url": "http://127.0.0.1:8123",
        "drummer": {"email": "d@house.example", "password": "one"},
        "client": {"email": "c@band.example", "password": "two"},
        "other_client": {"email": "o@other.example", "password": "three"},
    }

    lines = command.greeting(house).splitlines()

    assert "Kitpost is at http://127.0.0.1:8123" in lines
    assert [line.split()[-2:] for line in lines if "@" in line] == [
        ["d@house.example", "one"],
        ["c@band.example", "two"],
        ["o@other.example", "three"],
    ]


def test_a_queue_that_the_caller_names_is_used_as_it_is(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("KITPOST_BROKER_URL", "redis://queue.example:6379/0")

    environment = command.house_environment(tmp_path, 8123, None)

    assert environment["KITPOST_BROKER_URL"] == "redis://queue.example:6379/0"
    assert "KITPOST_SOLE_WORKER" not in environment
