"""What a demo claims before it starts anything: its folder and its port."""

import errno
import fcntl
import os
import socket
import time
from pathlib import Path

from portal.demo.errors import UsageError

HOST = "127.0.0.1"
OWNER_ONLY = 0o700
# The processes of a killed demo let go of its port a moment after it.
PORT_PATIENCE_S = 2.0
PORT_RETRY_S = 0.1
BACKLOG = 256


def claim_folder(data_dir: Path) -> int:
    """Make the data folder and lock it. The lock is the open descriptor: it ends with this process, however it ends."""
    try:
        data_dir.mkdir(mode=OWNER_ONLY, parents=True, exist_ok=True)
        (data_dir / "logs").mkdir(exist_ok=True)
        descriptor = os.open(data_dir / "lock", os.O_RDWR | os.O_CREAT, 0o600)
    except OSError as error:
        raise UsageError(f"The folder {data_dir} cannot be used: {error.strerror}.") from error
    try:
        fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except BlockingIOError as error:
        holder = os.read(descriptor, 20).decode(errors="replace").strip() or "unknown"
        os.close(descriptor)
        raise UsageError(
            f"The folder {data_dir} is in use by another demo (process {holder}); name another one with --data."
        ) from error
    os.ftruncate(descriptor, 0)
    os.write(descriptor, f"{os.getpid()}\n".encode())
    return descriptor


def listen(port: int) -> socket.socket:
    """Open the port now and keep it open: the web server gets it handed down, so a restart refuses nobody."""
    door = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
    door.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    give_up_at = time.monotonic() + PORT_PATIENCE_S
    while True:
        try:
            door.bind((HOST, port))
            door.listen(BACKLOG)
        except OSError as error:
            if error.errno == errno.EADDRINUSE and time.monotonic() < give_up_at:
                time.sleep(PORT_RETRY_S)
                continue
            door.close()
            raise UsageError(port_trouble(port, error)) from error
        return door


def port_trouble(port: int, error: OSError) -> str:
    if error.errno == errno.EADDRINUSE:
        return f"Port {port} is in use; name another one with --port."
    return f"Port {port} cannot be opened: {error.strerror}."
