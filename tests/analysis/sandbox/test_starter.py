"""Children are forks of a process that only loads: what they get of it, and what ends them both."""

from __future__ import annotations

import ast
import inspect
import os
import signal
import subprocess
import sys
import textwrap
import threading
import time
from collections.abc import Callable
from pathlib import Path
from tempfile import TemporaryFile

import pytest

from analysis.sandbox import child_jobs
from analysis.sandbox.starting import PACKAGE_PARENT, Line, environment
from tests.analysis.sandbox.conftest import PROGRAM, LineToChildren

LONG_S = 60.0
needs_proc = pytest.mark.skipif(not Path("/proc/self/fd").exists(), reason="no /proc here")


def said_by(line: Line, folder: Path, *, status: int = 0, time_limit_s: float = LONG_S) -> str:
    with TemporaryFile() as complaints:
        ended = line.run("ProxyJob", b"{}", folder=str(folder), complaints=complaints, time_limit_s=time_limit_s)
        complaints.seek(0)
        assert ended == status
        return complaints.read().decode()


def until(is_so: Callable[[], bool]) -> None:
    ends = time.monotonic() + LONG_S
    while not is_so():
        assert time.monotonic() < ends
        time.sleep(0.01)


def is_running(pid: int) -> bool:
    try:
        return Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()[0] != "Z"
    except FileNotFoundError:
        return False


PARENT = "print(os.getppid(), end='', file=sys.stderr)"


def test_children_have_one_parent(tmp_path: Path, children_that: LineToChildren) -> None:
    line = children_that(PARENT)

    assert said_by(line, tmp_path) == said_by(line, tmp_path) != str(os.getpid())


def test_a_starter_that_was_killed_is_replaced(tmp_path: Path, children_that: LineToChildren) -> None:
    line = children_that(PARENT)
    first = int(said_by(line, tmp_path))
    os.kill(first, signal.SIGKILL)

    assert int(said_by(line, tmp_path)) != first


def test_an_order_that_lost_its_starter_is_given_once_more(tmp_path: Path, children_that: LineToChildren) -> None:
    line = children_that("if os.path.exists('once'): return 0; open('once', 'w'); os.kill(os.getppid(), 9)")

    assert said_by(line, tmp_path) == ""


def test_a_starter_that_cannot_start_is_no_answer(tmp_path: Path) -> None:
    assert said_by(Line("-c", "import sys; sys.exit(1)"), tmp_path, status=1) == ""


@pytest.mark.parametrize(("ending", "status"), [("sys.exit(3)", 3), ("os.kill(os.getpid(), 11)", -signal.SIGSEGV)])
def test_how_a_child_ended(tmp_path: Path, children_that: LineToChildren, ending: str, status: int) -> None:
    said_by(children_that(ending), tmp_path, status=status)


def test_an_error_is_told_in_full(tmp_path: Path, children_that: LineToChildren) -> None:
    assert said_by(children_that("[][0]"), tmp_path, status=1).endswith("IndexError: list index out of range\n")


@needs_proc
def test_a_child_has_no_descriptor_of_another(tmp_path: Path, children_that: LineToChildren) -> None:
    """While another is at work it has its order, nothing to write to, a place for complaints, and this listing."""
    line = children_that(
        "print(*sorted(os.listdir('/proc/self/fd')), end='', file=sys.stderr)"
        "; waits = not os.path.exists('first')"
        "; open('first', 'w')"
        "; while waits and not os.path.exists('go'): time.sleep(0.01)"
    )
    waiting = threading.Thread(target=said_by, args=(line, tmp_path))
    waiting.start()
    until((tmp_path / "first").exists)

    assert said_by(line, tmp_path) == "0 1 2 3"
    (tmp_path / "go").touch()
    waiting.join()


@needs_proc
def test_an_overdue_child_has_ended_when_that_is_said(tmp_path: Path, children_that: LineToChildren) -> None:
    line = children_that("open('child', 'w').write(str(os.getpid())); time.sleep(60)")
    with pytest.raises(TimeoutError):
        said_by(line, tmp_path, time_limit_s=0.5)

    assert not Path("/proc", (tmp_path / "child").read_text()).exists()
    assert line._starter
    assert is_running(line._starter.process.pid)


@needs_proc
def test_starter_and_children_end_with_the_worker(tmp_path: Path) -> None:
    children = PROGRAM.format(
        work="    open('pids', 'w').write(f'{os.getpid()} {os.getppid()} '); time.sleep(60)", settings=""
    )
    program = f"""
from pathlib import Path
from analysis.sandbox.starting import Line
from tests.analysis.sandbox.test_starter import said_by
said_by(Line("-c", {children!r}), Path({str(tmp_path)!r}))
"""
    worker = subprocess.Popen([sys.executable, "-c", program], cwd=PACKAGE_PARENT)
    pids = tmp_path / "pids"
    until(lambda: pids.exists() and pids.read_text().endswith(" "))
    worker.kill()
    worker.wait()

    until(lambda: not any(is_running(int(pid)) for pid in pids.read_text().split()))


@needs_proc
def test_a_starter_that_nobody_asks_ends(tmp_path: Path, children_that: LineToChildren) -> None:
    line = children_that(PARENT, settings="starter._IDLE_S = 0.05")
    first = said_by(line, tmp_path)
    until(lambda: not is_running(int(first)))

    assert said_by(line, tmp_path) != first


def test_a_fork_of_the_worker_has_a_starter_of_its_own(tmp_path: Path, children_that: LineToChildren) -> None:
    line = children_that(PARENT)
    here = said_by(line, tmp_path)
    if (fork := os.fork()) == 0:
        line.forget()
        (tmp_path / "there").write_text(said_by(line, tmp_path))
        os._exit(0)
    os.waitpid(fork, 0)

    assert (tmp_path / "there").read_text() != here == said_by(line, tmp_path)


@needs_proc
def test_what_is_loaded_starts_no_threads(tmp_path: Path) -> None:
    """A process of many threads gets no namespaces (unshare(2)), and a fork has only the one that forked."""
    engines = sorted({job.engine for job in child_jobs.JOBS.values()})
    program = f"import importlib, os; [importlib.import_module(name) for name in {engines}]; "
    done = subprocess.run(
        [sys.executable, "-c", program + "print(len(os.listdir('/proc/self/task')))"],
        cwd=PACKAGE_PARENT,
        env=environment(),
        capture_output=True,
        check=True,
    )

    assert done.stdout == b"1\n"


@pytest.mark.parametrize("job", child_jobs.JOBS.values())
def test_the_engine_that_is_loaded_is_the_one_that_works(job: type[child_jobs.ChildJob]) -> None:
    tree = ast.parse(textwrap.dedent(inspect.getsource(job.do)))

    assert job.engine in {node.module for node in ast.walk(tree) if isinstance(node, ast.ImportFrom)}
