"""What a decoder that was taken over could do: every act of `escapes`, tried from inside the real child.

Each act also has a run in which it succeeds, without the layers: a test that could not fail would prove nothing.
"""

from __future__ import annotations

import json
import socket
import subprocess
import sys
from collections.abc import Iterator, Sequence
from pathlib import Path

import pytest

from analysis.sandbox import child, starting
from analysis.sandbox.child import layers_that_hold
from analysis.sandbox.confinement import LAYERS
from analysis.sandbox.landlock import landlock_version
from tests.analysis.sandbox import escapes
from tests.analysis.sandbox.conftest import measured_by

# Another program of the same user that keeps a secret in its environment and in its memory. It lets itself be traced
# (PR_SET_PTRACER), which some systems allow only to a parent, so that the control depends on no setting of the machine.
WORKER = """
import ctypes, sys
kept = ctypes.create_string_buffer(b"secret")
ctypes.CDLL(None).prctl(0x59616D61, ctypes.c_ulong(-1))
print(ctypes.addressof(kept), flush=True)
sys.stdin.read()
"""
ESCAPES = (*escapes.FILES, *escapes.NETWORK, *escapes.PROCESSES, *escapes.CALLS)
# What a child can do when one layer alone is missing; DEVELOPERS.md says the same in words.
OPEN_WITHOUT: dict[str, set[str]] = {
    "landlock": set(escapes.FILES)
    - {"read_secret_by_symlink", "read_secret_by_hard_link", "cut_secret", "remove_file"},
    "seccomp": set(escapes.CALLS) - {"signal_worker", "signal_starter", "start_a_program"},
    "namespaces": set(),
    "capabilities": set(),
}
# ... and when it is the only one there is.
OPEN_WITH_ONLY: dict[str, set[str]] = {
    "landlock": OPEN_WITHOUT["seccomp"] | {"udp"},
    "seccomp": OPEN_WITHOUT["landlock"] | {"read_environment_of_worker", "read_memory_of_worker"},
}
needs_all_layers = pytest.mark.skipif(set(layers_that_hold()) != set(LAYERS), reason="this kernel lacks a layer")


class House:
    """A folder with secrets, a worker, and somebody who listens."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        (folder / "store").mkdir()
        (folder / "out").mkdir()
        self.upload = folder / "store" / "mine"
        self.secret = folder / "store" / "kitpost.sqlite3"
        for file in (self.upload, self.secret):
            file.write_bytes(b"content")
        self.tcp = socket.create_server(("127.0.0.1", 0))
        self.udp = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)
        self.udp.bind(("127.0.0.1", 0))
        self.unix = socket.socket(socket.AF_UNIX)
        self.unix.bind(str(folder / "u"))
        self.unix.listen()
        self.worker = subprocess.Popen(
            [sys.executable, "-c", WORKER],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            env={"KITPOST_SECRET_KEY": "kept-by-the-worker"},
        )
        assert self.worker.stdout
        self.worker_address = int(self.worker.stdout.readline())

    def close(self) -> None:
        for one in (self.tcp, self.udp, self.unix):
            one.close()
        self.worker.communicate()

    def tries(self, acts: Sequence[str], *, without: Sequence[str] = ()) -> dict[str, str]:
        """What each act came to in a child that lacks these layers."""
        (self.folder / "spare").touch()
        job = escapes.Escape(
            path=str(self.upload),
            output_to=str(self.folder / "out" / "output"),
            secret=str(self.secret),
            folder=str(self.folder),
            worker=self.worker.pid,
            worker_address=self.worker_address,
            tcp_port=self.tcp.getsockname()[1],
            udp_port=self.udp.getsockname()[1],
            unix_path=str(self.folder / "u"),
            acts=list(acts),
        )
        line = starting.Line("-m", "tests.analysis.sandbox.escapes", *without)
        with measured_by(line), pytest.MonkeyPatch.context() as patched:
            patched.setattr(child, "_MAKING_JOBS", (escapes.Escape,))  # it makes a file, as a survey does
            answer, trouble = child.run_in_child(job, 60.0, 3 * 2**30)  # type: ignore[arg-type]
        return answer if answer is not None else dict.fromkeys(acts, trouble)


@pytest.fixture(scope="module")
def house(tmp_path_factory: pytest.TempPathFactory) -> Iterator[House]:
    house = House(tmp_path_factory.mktemp("house"))
    yield house
    house.close()


@pytest.fixture(scope="module")
def closed_in(house: House) -> dict[str, str]:
    return house.tries((*escapes.OWN, *ESCAPES))


@pytest.fixture(scope="module")
def let_out(house: House) -> dict[str, str]:
    return house.tries(ESCAPES, without=LAYERS)


@needs_all_layers
@pytest.mark.parametrize("act", escapes.OWN)
def test_what_is_its_own_is_open(closed_in: dict[str, str], act: str) -> None:
    assert closed_in[act] == "done"


@needs_all_layers
@pytest.mark.parametrize("act", ESCAPES)
def test_no_way_out(closed_in: dict[str, str], act: str) -> None:
    assert closed_in[act].startswith(("PermissionError", "OSError: [Errno 38]"))


@pytest.mark.parametrize("act", ESCAPES)
def test_each_way_is_open_without_the_layers(let_out: dict[str, str], act: str) -> None:
    assert let_out[act] == "done"


@needs_all_layers
@pytest.mark.parametrize("layer", LAYERS)
def test_what_still_holds_where_a_layer_is_missing(house: House, layer: str) -> None:
    tried = house.tries(ESCAPES, without=[layer])

    assert {act for act, end in tried.items() if end == "done"} == OPEN_WITHOUT[layer]


@needs_all_layers
@pytest.mark.parametrize("layer", OPEN_WITH_ONLY)
def test_what_one_layer_alone_holds(house: House, layer: str) -> None:
    tried = house.tries(ESCAPES, without=[other for other in LAYERS if other != layer])

    assert {act for act, end in tried.items() if end == "done"} == OPEN_WITH_ONLY[layer]


@needs_all_layers
def test_the_child_stays_the_program_that_it_is(house: House) -> None:
    became = house.folder / "became"

    assert house.tries(["become_a_program"])["become_a_program"].startswith("PermissionError")
    assert not became.exists()
    house.tries(["become_a_program"], without=LAYERS)
    assert became.exists()


@pytest.mark.parametrize("version", range(1, landlock_version() + 1))
def test_older_kernels_close_files_too(tmp_path: Path, version: int) -> None:
    """The interface of each version before this kernel's: what is handed over is what that version takes."""
    for name in ("mine", "secret", "out"):
        (tmp_path / name).write_bytes(b"content")
    program = f"""
import json
from pathlib import Path
from analysis.sandbox import landlock
from analysis.sandbox.kernel import PR_SET_NO_NEW_PRIVS, prctl
landlock.landlock_version = lambda: {version}
folder = Path({str(tmp_path)!r})
prctl(PR_SET_NO_NEW_PRIVS, 1)
landlock.restrict_files(read=[folder / "mine", folder / "missing"], write=[folder / "out"])
(folder / "mine").read_bytes()
(folder / "out").write_bytes(b"new")
refused = []
for act in (lambda: (folder / "secret").read_bytes(), lambda: (folder / "mine").write_bytes(b""), (folder / "n").touch):
    try:
        act()
    except PermissionError:
        refused.append(True)
print(json.dumps(refused))
"""
    done = subprocess.run(
        [sys.executable, "-c", program], cwd=starting.PACKAGE_PARENT, capture_output=True, text=True, check=True
    )

    assert json.loads(done.stdout) == [True, True, True]
