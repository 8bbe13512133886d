"""The real starter, with one more job for its children: to try to get out. Each act that succeeds answers "done".

`python -m tests.analysis.sandbox.escapes LAYER ...` takes orders as `starter` does; its job is `Escape`. Layers
that are named are left out: for the controls, and for kernels that lack one.
"""

from __future__ import annotations

import ctypes
import os
import resource
import socket
import sys
import threading
from collections.abc import Callable
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import Any, ClassVar

from analysis.core.reports import Record
from analysis.sandbox import child_jobs, starter
from analysis.sandbox.confinement import LAYERS, confine_self
from analysis.sandbox.kernel import system_call
from analysis.sandbox.starter import ORDER

_PTRACE_SEIZE, _PTRACE_DETACH = 0x4206, 17
_IO_URING_SETUP, _PROCESS_VM_READV, _PIDFD_OPEN = 425, {"x86_64": 310, "aarch64": 270}, 434


@dataclass(frozen=True)
class Escape(Record):
    """`path` is the one file that is the child's own, `secret` is not, `worker` is another process of the same user."""

    engine: ClassVar = "analysis.media"
    path: str
    output_to: str
    secret: str
    folder: str
    worker: int
    worker_address: int
    tcp_port: int
    udp_port: int
    unix_path: str
    acts: list[str]

    @property
    def reads(self) -> list[str]:
        return [self.path]

    def do(self) -> dict[str, Any]:
        return {name: self._try(ACTS[name]) for name in self.acts}

    def _try(self, act: Callable[[Escape], object]) -> str:
        try:
            act(self)
        except (OSError, RuntimeError, ValueError) as error:
            return f"{type(error).__name__}: {error}"
        return "done"


def read_own_file(job: Escape) -> None:
    Path(job.path).read_bytes()


def write_own_output(job: Escape) -> None:
    Path(job.output_to).write_bytes(b"mine")


def start_a_thread(_: Escape) -> None:
    thread = threading.Thread(target=int)
    thread.start()
    thread.join()


def tcp(job: Escape) -> None:
    socket.create_connection(("127.0.0.1", job.tcp_port), timeout=5).close()


def udp(job: Escape) -> None:
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as sender:
        sender.sendto(b"out", ("127.0.0.1", job.udp_port))


def unix_socket(job: Escape) -> None:
    with socket.socket(socket.AF_UNIX) as caller:
        caller.connect(job.unix_path)


def listen(_: Escape) -> None:
    with socket.socket() as listener:
        listener.bind(("127.0.0.1", 0))


def read_secret(job: Escape) -> None:
    Path(job.secret).read_bytes()


def read_secret_through_proc(job: Escape) -> None:
    Path(f"/proc/self/root{job.secret}").read_bytes()


def read_secret_by_steps(job: Escape) -> None:
    Path(os.path.relpath(job.secret)).read_bytes()


def read_secret_by_symlink(job: Escape) -> None:
    link = Path(job.output_to).with_name("link")
    link.symlink_to(job.secret)
    link.read_bytes()


def read_secret_by_hard_link(job: Escape) -> None:
    link = Path(job.output_to).with_name("same")
    link.hardlink_to(job.secret)
    link.read_bytes()


def read_own_order(job: Escape) -> None:
    Path(job.output_to).with_name(ORDER).read_bytes()


def write_over_own_order(job: Escape) -> None:
    os.close(os.open(Path(job.output_to).with_name(ORDER), os.O_WRONLY))


def write_over_secret(job: Escape) -> None:
    os.close(os.open(job.secret, os.O_WRONLY))


def cut_secret(job: Escape) -> None:
    os.truncate(job.secret, Path(job.secret).stat().st_size)


def open_secret_to_all(job: Escape) -> None:
    Path(job.secret).chmod(0o666)


def list_folder(job: Escape) -> None:
    os.listdir(job.folder)


def make_file(job: Escape) -> None:
    Path(job.folder, "made").write_bytes(b"")


def make_file_beside_output(job: Escape) -> None:
    Path(job.output_to).with_name("more").write_bytes(b"")


def write_over_input(job: Escape) -> None:
    os.close(os.open(job.path, os.O_WRONLY))


def remove_file(job: Escape) -> None:
    Path(job.folder, "spare").unlink()


def open_a_device(_: Escape) -> None:
    Path("/dev/zero").open("rb").close()


def read_environment_of_worker(job: Escape) -> None:
    if b"kept-by-the-worker" not in Path(f"/proc/{job.worker}/environ").read_bytes():
        raise ValueError("read, but without the secret")


def read_memory_of_worker(job: Escape) -> None:
    with Path(f"/proc/{job.worker}/mem").open("rb", buffering=0) as memory:
        memory.seek(job.worker_address)
        memory.read(1)


def read_memory_of_worker_directly(job: Escape) -> None:
    here = ctypes.create_string_buffer(1)
    pairs = [(ctypes.c_void_p * 2)(at, 1) for at in (ctypes.addressof(here), job.worker_address)]
    local, remote = (ctypes.addressof(pair) for pair in pairs)
    system_call(_PROCESS_VM_READV[os.uname().machine], job.worker, local, 1, remote, 1, 0)


def trace_worker(job: Escape) -> None:
    trace = ctypes.CDLL(None, use_errno=True).ptrace
    trace.argtypes = [ctypes.c_long, ctypes.c_long, ctypes.c_void_p, ctypes.c_void_p]
    trace.restype = ctypes.c_long
    if trace(_PTRACE_SEIZE, job.worker, None, None) == -1:
        raise OSError(ctypes.get_errno(), "ptrace")
    trace(_PTRACE_DETACH, job.worker, None, None)


def signal_worker(job: Escape) -> None:
    os.kill(job.worker, 0)


def signal_starter(_: Escape) -> None:
    os.kill(os.getppid(), 0)


def hold_worker_by_descriptor(job: Escape) -> None:
    os.close(system_call(_PIDFD_OPEN, job.worker, 0))


def limit_worker(job: Escape) -> None:
    resource.prlimit(job.worker, resource.RLIMIT_CORE, (0, 0))


def start_a_process(_: Escape) -> None:
    if (process := os.fork()) == 0:
        os._exit(0)
    os.waitpid(process, 0)


def start_a_program(_: Escape) -> None:
    os.waitpid(os.posix_spawn("/bin/true", ["true"], {}), 0)


def become_a_program(job: Escape) -> None:
    """Last of its run: where it succeeds, nobody is left to answer, and the program leaves its word."""
    word = f"import pathlib; pathlib.Path({job.folder!r}, 'became').write_text('x')"
    os.execv(sys.executable, [sys.executable, "-c", word])  # noqa: S606


def use_the_ring(_: Escape) -> None:
    """io_uring opens files and sockets without system calls of their own."""
    setup = ctypes.create_string_buffer(120)
    os.close(system_call(_IO_URING_SETUP, 1, ctypes.addressof(setup)))


def set_room_aside(job: Escape) -> None:
    """Past the end of its output, where its limit on size does not reach (linux/falloc.h: FALLOC_FL_KEEP_SIZE)."""
    with Path(job.output_to).open("r+b") as output:
        numbers = {"x86_64": 285, "aarch64": 47}
        system_call(numbers[os.uname().machine], output.fileno(), 1, 0, 2**20)


OWN = {act.__name__: act for act in (read_own_file, write_own_output, start_a_thread)}
FILES = {
    act.__name__: act
    for act in (
        read_secret,
        read_secret_through_proc,
        read_secret_by_steps,
        read_secret_by_symlink,
        read_secret_by_hard_link,
        read_own_order,
        write_over_own_order,
        write_over_secret,
        cut_secret,
        list_folder,
        make_file,
        make_file_beside_output,
        write_over_input,
        remove_file,
        open_a_device,
    )
}
NETWORK = {act.__name__: act for act in (tcp, udp, listen)}
PROCESSES = {
    act.__name__: act
    for act in (
        read_environment_of_worker,
        read_memory_of_worker,
        read_memory_of_worker_directly,
        trace_worker,
    )
}
CALLS = {
    act.__name__: act
    for act in (
        unix_socket,
        open_secret_to_all,
        signal_worker,
        signal_starter,
        hold_worker_by_descriptor,
        limit_worker,
        start_a_process,
        start_a_program,
        use_the_ring,
        set_room_aside,
    )
}
ACTS = OWN | FILES | NETWORK | PROCESSES | CALLS | {become_a_program.__name__: become_a_program}


def main() -> None:
    child_jobs.JOBS["Escape"] = Escape  # type: ignore[assignment]
    layers = [layer for layer in LAYERS if layer not in sys.argv[1:]]
    setattr(child_jobs, "confine_self", partial(confine_self, layers=layers))  # noqa: B010
    starter.main()


if __name__ == "__main__":
    main()
