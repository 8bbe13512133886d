"""Children are forks of a process that only loads: what they get of it, and what ends them both."""

from __future__ import annotations

import ast
import inspect
import os
import signal
import subprocess
import sys
import textwrap
import time
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest

from analysis.sandbox import child_jobs
from analysis.sandbox.starter import COMPLAINTS, ORDER
from analysis.sandbox.starting import PACKAGE_PARENT, Line, environment
from tests.analysis.sandbox.conftest import PROGRAM, LineToChildren

LONG_S = 60.0
needs_proc = pytest.mark.skipif(not Path("/proc/self/fd").exists(), reason="no /proc here")


def ended(line: Line, folder: Path, *, time_limit_s: float = LONG_S) -> int:
    folder.mkdir(exist_ok=True)
    (folder / ORDER).write_text("{}")
    return line.run("ProxyJob", folder=str(folder), time_limit_s=time_limit_s)


def said_by(line: Line, folder: Path) -> str:
    assert ended(line, folder) == 0
    return (folder / COMPLAINTS).read_text()


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


def pids_in(path: Path) -> list[int]:
    """A child's and its starter's, once they are written."""
    until(lambda: path.exists() and path.read_text().endswith(" "))
    return [int(pid) for pid in path.read_text().split()]


PARENT = "print(os.getppid(), end='', file=sys.stderr)"
PIDS = "open('pids', 'w').write(f'{os.getpid()} {os.getppid()} ')"
STAYS = f"{PIDS}; time.sleep(60)"


def test_children_have_one_parent(tmp_path: Path, children_that: LineToChildren) -> None:
    line = children_that(PARENT)

    assert said_by(line, tmp_path) == said_by(line, tmp_path) != str(os.getpid())


def test_orders_at_a_time_have_starters_of_their_own(tmp_path: Path, children_that: LineToChildren) -> None:
    line = children_that(f"{PARENT}; open('came', 'w'); while not os.path.exists('../go'): time.sleep(0.01)")
    with ThreadPoolExecutor(3) as pool:
        said = pool.map(said_by, [line] * 3, [tmp_path / name for name in "abc"])
        until(lambda: all((tmp_path / name / "came").exists() for name in "abc"))
        (tmp_path / "go").touch()

    starters = set(said)
    assert len(starters) == 3
    assert said_by(line, tmp_path / "d") in starters


def test_a_starter_that_was_killed_is_replaced(tmp_path: Path, children_that: LineToChildren) -> None:
    line = children_that(PARENT)
    first = int(said_by(line, tmp_path))
    os.kill(first, signal.SIGKILL)

    assert int(said_by(line, tmp_path)) != first


@needs_proc
def test_a_child_ends_with_its_starter_and_its_order_is_given_to_no_other(
    tmp_path: Path, children_that: LineToChildren
) -> None:
    line = children_that(f"open('times', 'a').write('x'); {PIDS}; os.kill(os.getppid(), 9); time.sleep(60)")

    with pytest.raises(ChildProcessError):
        ended(line, tmp_path)
    assert (tmp_path / "times").read_text() == "x"
    until(lambda: not any(map(is_running, pids_in(tmp_path / "pids"))))


def test_where_no_starter_starts_that_is_an_error_of_the_system(tmp_path: Path) -> None:
    with pytest.raises(ChildProcessError):
        ended(Line("-c", "import sys; sys.exit(1)"), tmp_path)


def test_where_no_child_can_be_forked_that_is_an_error_of_the_system(
    tmp_path: Path, children_that: LineToChildren
) -> None:
    """fork(2): EAGAIN, where the system has no process left. The next order is done."""
    refused = "os.fork = lambda: (_ for _ in ()).throw(BlockingIOError(11, 'fork'))"
    once = f"once = {str(tmp_path / 'once')!r}\nif not os.path.exists(once): open(once, 'w'); {refused}"
    line = children_that(settings=once)
    with pytest.raises(ChildProcessError):
        ended(line, tmp_path)

    assert ended(line, tmp_path) == 0


@pytest.mark.parametrize(("ending", "status"), [("sys.exit(3)", 3), ("os.kill(os.getpid(), 11)", -signal.SIGSEGV)])
def test_how_a_child_ended(tmp_path: Path, children_that: LineToChildren, ending: str, status: int) -> None:
    assert ended(children_that(ending), tmp_path) == status


def test_who_kills_a_child_has_not_measured_its_file(tmp_path: Path, children_that: LineToChildren) -> None:
    """As the kernel does for want of memory: SIGKILL."""
    with pytest.raises(ChildProcessError, match="killed"):
        ended(children_that("os.kill(os.getpid(), 9)"), tmp_path)


def test_after_a_crash_comes_another_starter(tmp_path: Path, children_that: LineToChildren) -> None:
    line = children_that(f"{PARENT}; os.path.exists('crash') and os.kill(os.getpid(), 11)")
    first = said_by(line, tmp_path)
    (tmp_path / "crash").touch()
    ended(line, tmp_path)
    (tmp_path / "crash").unlink()

    assert said_by(line, tmp_path) != first


def test_an_error_is_told_in_full(tmp_path: Path, children_that: LineToChildren) -> None:
    assert ended(children_that("[][0]"), tmp_path) == 1
    assert (tmp_path / COMPLAINTS).read_text().endswith("IndexError: list index out of range\n")


def test_a_full_disk_ends_the_child_alone(tmp_path: Path, children_that: LineToChildren) -> None:
    line = children_that(f"{PARENT}; os.dup2(os.open('/dev/full', os.O_WRONLY), 2); sys.stderr.write('x')")
    assert ended(line, tmp_path) == 0
    first = (tmp_path / COMPLAINTS).read_text()

    assert said_by(line, tmp_path) == first


@needs_proc
def test_a_child_has_no_descriptor_but_its_own(tmp_path: Path, children_that: LineToChildren) -> None:
    """Nothing to read, nothing to write to, a place for complaints, and this listing."""
    line = children_that("print(*sorted(os.listdir('/proc/self/fd')), end='', file=sys.stderr)")

    assert said_by(line, tmp_path) == "0 1 2 3"


@needs_proc
def test_an_overdue_child_has_ended_when_that_is_said(tmp_path: Path, children_that: LineToChildren) -> None:
    with pytest.raises(TimeoutError):
        ended(children_that(STAYS), tmp_path, time_limit_s=0.5)

    assert not any(map(is_running, pids_in(tmp_path / "pids")))


@needs_proc
def test_a_stopped_starter_ends_too(
    tmp_path: Path, children_that: LineToChildren, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("analysis.sandbox.starting._ENDING_S", 0.05)
    with pytest.raises(TimeoutError):
        ended(children_that(f"{PIDS}; os.kill(os.getppid(), 19); time.sleep(60)"), tmp_path, time_limit_s=0.5)

    until(lambda: not any(map(is_running, pids_in(tmp_path / "pids"))))


@needs_proc
def test_starter_and_child_end_with_the_worker(tmp_path: Path) -> None:
    children = PROGRAM.format(work=textwrap.indent(STAYS.replace("; ", "\n"), "    "), settings="")
    program = f"""
from pathlib import Path
from analysis.sandbox.starting import Line
from tests.analysis.sandbox.test_starter import ended
ended(Line("-c", {children!r}), Path({str(tmp_path)!r}))
"""
    worker = subprocess.Popen([sys.executable, "-c", program], cwd=PACKAGE_PARENT)
    pids = pids_in(tmp_path / "pids")
    worker.kill()
    worker.wait()

    until(lambda: not any(map(is_running, pids)))


@needs_proc
def test_closing_the_line_ends_who_is_at_work(tmp_path: Path, children_that: LineToChildren) -> None:
    line = children_that(STAYS)
    with ThreadPoolExecutor(1) as pool:
        waiting = pool.submit(ended, line, tmp_path)
        pids = pids_in(tmp_path / "pids")
        line.close()
        with pytest.raises(ChildProcessError):
            waiting.result()

    assert not any(map(is_running, pids))


def test_an_order_that_the_closing_met_is_not_begun_again(tmp_path: Path, children_that: LineToChildren) -> None:
    """The starter is still loading when its line is closed; a later order is done."""
    came = tmp_path / "came"
    slow = f"open({str(came)!r}, 'w'); time.sleep(0.5 * (not os.path.exists({str(tmp_path / 'quick')!r})))"
    line = children_that("", settings=slow)
    with ThreadPoolExecutor(1) as pool:
        waiting = pool.submit(ended, line, tmp_path)
        until(came.exists)
        (tmp_path / "quick").touch()
        line.close()
        with pytest.raises(ChildProcessError):
            waiting.result()

    assert ended(line, tmp_path) == 0


@needs_proc
def test_starters_that_ended_while_idle_leave_nothing(tmp_path: Path, children_that: LineToChildren) -> None:
    line = children_that("open('came', 'w')", settings="starter._IDLE_S = 0.3")
    with ThreadPoolExecutor(3) as pool:
        list(pool.map(ended, [line] * 3, [tmp_path / name for name in "abc"]))
    pids = [starter.process.pid for starter in line._idle]
    until(lambda: not any(map(is_running, pids)))
    ended(line, tmp_path)

    assert not any(Path(f"/proc/{pid}").exists() for pid in pids)


@needs_proc
def test_a_starter_that_nobody_asks_ends(tmp_path: Path, children_that: LineToChildren) -> None:
    line = children_that(PARENT, settings="starter._IDLE_S = 0.05")
    first = said_by(line, tmp_path)
    until(lambda: not is_running(int(first)))

    assert said_by(line, tmp_path) != first


def test_orders_that_come_as_starters_end_are_all_done(tmp_path: Path, children_that: LineToChildren) -> None:
    line = children_that("", settings="starter._IDLE_S = 0.0005")
    with ThreadPoolExecutor(2) as pool:
        statuses = list(pool.map(ended, [line] * 20, [tmp_path / str(number) for number in range(20)]))

    assert statuses == [0] * 20


@needs_proc
def test_a_mask_of_the_worker_keeps_no_child_waiting(tmp_path: Path, children_that: LineToChildren) -> None:
    before = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGCHLD})
    try:
        assert ended(children_that(""), tmp_path) == 0
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, before)


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
def test_what_is_loaded_starts_no_threads() -> None:
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
