"""The supervisor with small programs in place of the house's parts; `test_command.py` runs the real ones."""

import os
import signal
import sys
import threading
import time
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest

from portal.demo import supervisor
from portal.demo.errors import StartError
from portal.demo.processes import Part
from portal.demo.supervisor import StopAskedError, Supervisor
from tests.portal.demo.waiting import PATIENCE_S, until


def part(program: str, *, name: str = "part", stops_within_s: float = 5.0) -> Part:
    return Part(name, (sys.executable, "-c", program), stops_within_s)


SLEEPER = "import time; time.sleep(60)"
DEAF_SLEEPER = f"import signal; signal.signal(signal.SIGTERM, signal.SIG_IGN); print('deaf', flush=True); {SLEEPER}"


def is_alive(pid: int) -> bool:
    try:
        state = Path(f"/proc/{pid}/stat").read_text().rsplit(")", 1)[1].split()[0]
    except (FileNotFoundError, ProcessLookupError):
        return False
    return state != "Z"


@pytest.fixture
def house(tmp_path: Path) -> Iterator[Supervisor]:
    house = Supervisor(os.environ, tmp_path)
    yield house
    house.stop()


def test_what_a_part_prints_is_in_its_log(house: Supervisor, tmp_path: Path) -> None:
    house.start(part("import sys; print('out'); print('err', file=sys.stderr)", name="talker"))

    until(lambda: sorted((tmp_path / "talker.log").read_text().split()) == ["err", "out"])


def test_a_big_log_is_set_aside(house: Supervisor, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(supervisor, "LARGEST_LOG_BYTES", 10)
    (tmp_path / "talker.log").write_text("a long story")

    house.start(part("print('new')", name="talker"))

    until(lambda: (tmp_path / "talker.log").read_text() == "new\n")
    assert (tmp_path / "talker.log.1").read_text() == "a long story"


def test_a_killed_part_is_started_again(house: Supervisor, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(supervisor, "FIRST_PAUSE_S", 0.05)
    house.start(part(SLEEPER))
    running = house.running[0]
    running.pause_s = 0.05
    first = running.process.pid
    watching = threading.Timer(0, house_stops_after, (house, running, first))
    watching.start()
    os.kill(first, signal.SIGKILL)

    house.watch()

    watching.join()
    assert running.process.pid != first
    assert is_alive(running.process.pid)


def house_stops_after(house: Supervisor, running: supervisor.Running, first: int) -> None:
    give_up_at = time.monotonic() + PATIENCE_S
    while running.process.pid == first and time.monotonic() < give_up_at:
        time.sleep(0.02)
    house.stop_asked = True


def pause_after(house: Supervisor, *, lived_s: float) -> float | None:
    """How long the first part's next start is put off when it has ended after `lived_s`."""
    running = house.running[0]
    running.process.wait()
    ended = replace(running, again_at=None)
    ended_at = running.started_at + lived_s
    house.look_after(ended, now=ended_at)
    running.pause_s = ended.pause_s
    return None if ended.again_at is None else ended.again_at - ended_at


def test_the_pauses_double_up_to_the_longest_and_start_anew_after_good_health(house: Supervisor) -> None:
    house.start(part("raise SystemExit(1)"))

    pauses = [pause_after(house, lived_s=1) for _ in range(8)]

    assert pauses == pytest.approx([0.5, 1, 2, 4, 8, 16, 30, 30])
    assert pause_after(house, lived_s=100) == pytest.approx(0.5)


def test_stopping_ends_the_last_one_started_first(house: Supervisor, tmp_path: Path) -> None:
    says_so = (
        "import signal, sys, time\n"
        f"def end(*_): open({str(tmp_path / 'order')!r}, 'a').write(sys.argv[1]); sys.exit()\n"
        "signal.signal(signal.SIGTERM, end); print('ready', flush=True); time.sleep(60)"
    )
    for name in "abc":
        house.start(Part(name, (sys.executable, "-c", says_so, name)))
    until(lambda: all((tmp_path / f"{name}.log").read_text() for name in "abc"))

    house.stop()

    assert (tmp_path / "order").read_text() == "cba"


def test_a_part_that_will_not_end_is_killed_with_its_children(house: Supervisor, tmp_path: Path) -> None:
    program = (
        "import subprocess, sys; child = subprocess.Popen([sys.executable, '-c', 'import time; time.sleep(60)'])\n"
        f"print(child.pid, flush=True); {DEAF_SLEEPER}"
    )
    house.start(part(program, stops_within_s=0.2))
    until(lambda: "deaf" in (tmp_path / "part.log").read_text())
    child = int((tmp_path / "part.log").read_text().split()[0])

    house.stop()

    until(lambda: not is_alive(child))


@pytest.mark.skipif(sys.platform != "linux", reason="only Linux tells a child that its parent died")
def test_the_parts_die_with_a_supervisor_that_is_killed(tmp_path: Path) -> None:
    program = (
        "import os, time; from pathlib import Path; from portal.demo.processes import Part\n"
        "from portal.demo.supervisor import Supervisor\n"
        f"house = Supervisor(os.environ, Path({str(tmp_path)!r}))\n"
        f"house.start(Part('part', {(sys.executable, '-c', DEAF_SLEEPER)!r}))\n"
        "print(house.running[0].process.pid, flush=True); house.watch()"
    )
    outer = Supervisor(os.environ, tmp_path)
    outer.start(part(program, name="supervisor"))
    until(lambda: (tmp_path / "part.log").exists() and "deaf" in (tmp_path / "part.log").read_text())
    until(lambda: (tmp_path / "supervisor.log").read_text().endswith("\n"))
    child = int((tmp_path / "supervisor.log").read_text())
    assert is_alive(child)

    outer.running[0].process.kill()
    outer.running[0].process.wait()

    until(lambda: not is_alive(child))
    outer.stop()


def test_returns_what_a_part_that_ends_has_printed(house: Supervisor) -> None:
    assert house.run_once(part("print('done')"), within_s=PATIENCE_S) == b"done\n"


def test_a_part_that_fails_names_its_log(house: Supervisor, tmp_path: Path) -> None:
    with pytest.raises(StartError, match=rf"The part part ended with code 3 \(see {tmp_path}/part.log\)"):
        house.run_once(part("raise SystemExit(3)"), within_s=PATIENCE_S)


def test_a_part_that_does_not_end_is_given_up(house: Supervisor) -> None:
    with pytest.raises(StartError, match="did not stop within 0 s"):
        house.run_once(part(SLEEPER), within_s=0.2)


def test_waits_until_a_part_answers(house: Supervisor) -> None:
    sleeper = part(SLEEPER)
    house.start(sleeper)
    replies = iter([False, False, True])

    house.wait_for(sleeper, lambda: next(replies), within_s=PATIENCE_S)

    assert list(replies) == []


def test_waiting_ends_when_the_part_dies_or_time_is_over(house: Supervisor) -> None:
    dead, mute = part("raise SystemExit(4)", name="dead"), part(SLEEPER, name="mute")
    house.start(dead)
    house.start(mute)

    with pytest.raises(StartError, match="dead part ended with code 4"):
        house.wait_for(dead, lambda: False, within_s=PATIENCE_S)
    with pytest.raises(StartError, match="mute part did not answer"):
        house.wait_for(mute, lambda: False, within_s=0.1)


def test_a_wish_to_stop_is_heard_while_starting(house: Supervisor) -> None:
    sleeper = part(SLEEPER)
    house.start(sleeper)
    house.stop_asked = True

    with pytest.raises(StopAskedError):
        house.wait_for(sleeper, lambda: False, within_s=PATIENCE_S)
    with pytest.raises(StopAskedError):
        house.run_once(part(SLEEPER), within_s=PATIENCE_S)
