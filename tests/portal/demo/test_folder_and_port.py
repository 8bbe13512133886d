import os
import socket
from pathlib import Path

import pytest

from portal.demo import folder_and_port
from portal.demo.errors import UsageError


def test_a_folder_belongs_to_one_demo_at_a_time(tmp_path: Path) -> None:
    lock = folder_and_port.claim_folder(tmp_path / "house")

    with pytest.raises(UsageError, match=rf"house is in use by another demo \(process {os.getpid()}\)"):
        folder_and_port.claim_folder(tmp_path / "house")
    os.close(lock)
    os.close(folder_and_port.claim_folder(tmp_path / "house"))


def test_a_new_folder_is_its_owners_alone(tmp_path: Path) -> None:
    os.close(folder_and_port.claim_folder(tmp_path / "deep" / "house"))

    assert (tmp_path / "deep" / "house").stat().st_mode & 0o777 == 0o700


def test_a_file_in_the_folders_place_is_a_clear_refusal(tmp_path: Path) -> None:
    (tmp_path / "house").write_text("not a folder")

    with pytest.raises(UsageError, match="house cannot be used: File exists"):
        folder_and_port.claim_folder(tmp_path / "house")


def test_a_port_in_use_is_a_clear_refusal(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(folder_and_port, "PORT_PATIENCE_S", 0.2)
    with folder_and_port.listen(0) as door:
        port = door.getsockname()[1]

        with pytest.raises(UsageError, match=f"Port {port} is in use; name another one with --port"):
            folder_and_port.listen(port)


def test_the_port_takes_calls_before_anyone_serves_it() -> None:
    with folder_and_port.listen(0) as door, socket.create_connection(door.getsockname(), timeout=2) as call:
        assert call.getpeername() == door.getsockname()
