"""A house as it is in production, on this machine: nginx, PostgreSQL and Redis around the web processes.

Needs nginx, redis-server, PostgreSQL and openssl; as root, PostgreSQL runs as the user `postgres`, as in `.ci/run`.
Debian: apt-get install nginx-light redis-server postgresql openssl.
"""

from __future__ import annotations

import os
import secrets
import shutil
import subprocess
import sys
import time
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from http.client import HTTPConnection, HTTPException
from pathlib import Path

from tests.attacks.target import NotOursError, Target
from tests.deploy.front import ROOT, free_port, front

DRUMMER, CLIENT = "drums@kit.example", "songs@kit.example"
STARTS_WITHIN_S, ENDS_WITHIN_S = 120, 20
PEOPLE_AND_A_SONG = f"""
import os
from portal.bookings.services import open_booking
from portal.people.models import User
password = os.environ["PASSWORD"]
drummer = User.objects.create_superuser(email="{DRUMMER}", name="Drums", password=password)
open_booking(by=drummer, title="Songs", song_titles=["A song"], client_name="Songs", client_email="{CLIENT}")
client = User.objects.get(email="{CLIENT}")
client.set_password(password)
client.save(update_fields=["password"])
"""


SETTING_UP = (("migrate", "--no-input"), ("collectstatic", "--no-input"), ("shell", "-c", PEOPLE_AND_A_SONG))
WORKER = (sys.executable, *("-m", "celery", "-A", "portal", "worker", "--concurrency", "2", "--loglevel", "WARNING"))


@contextmanager
def house_behind_nginx(folder: Path, attacker: str) -> Iterator[Target]:
    check_programs()
    folder.chmod(0o755)
    web, redis, password = free_port(), free_port(), secrets.token_urlsafe(12)
    with postgres(folder) as database, running(["redis-server", "--port", str(redis), "--bind", "127.0.0.1"], folder):
        store = folder / "store"
        store.mkdir()
        with front(folder, web, {}) as site:
            url = f"https://127.0.0.1:{site.https}"
            environment = settings(folder, url, database, redis) | {
                "WEB_BIND": f"127.0.0.1:{web}",
                "PASSWORD": password,
            }
            for command in SETTING_UP:
                manage(command, environment)
            with running(["sh", "deploy/start-web"], ROOT, environment), running(WORKER, ROOT, environment):
                wait_for_site(web)
                yield Target(url, {"drummer": (DRUMMER, password), "client": (CLIENT, password)}, attacker)


def check_programs() -> None:
    missing = [name for name in ("nginx", "redis-server", "openssl") if not shutil.which(name)]
    if missing or not initdb():
        raise NotOursError(
            f"These programs are missing: {', '.join([*missing, *([] if initdb() else ['PostgreSQL'])])}."
        )


def initdb() -> Path | None:
    found = sorted(Path("/usr/lib/postgresql").glob("*/bin/initdb"), key=lambda path: int(path.parts[-3]))
    return found[-1] if found else None


@contextmanager
def postgres(folder: Path) -> Iterator[str]:
    program, cluster, port = initdb(), folder / "cluster", free_port()
    assert program is not None
    own = ("runuser", "-u", "postgres", "--") if os.geteuid() == 0 else ()
    cluster.mkdir(mode=0o700)
    if own:
        shutil.chown(cluster, "postgres")
    quietly(
        [*own, str(program), "-D", str(cluster), "--auth=trust", "--username=kitpost", "--encoding=UTF8", "--no-sync"]
    )
    control = [*own, str(program.with_name("pg_ctl")), "-D", str(cluster), "-w"]
    options = f"-c listen_addresses=127.0.0.1 -p {port} -k {cluster} -c fsync=off"
    quietly([*control, "-l", str(cluster / "log"), "-o", options, "start"])
    try:
        yield f"postgresql://kitpost@127.0.0.1:{port}/postgres"
    finally:
        quietly([*control, "-m", "immediate", "stop"])


def settings(folder: Path, url: str, database: str, redis_port: int) -> dict[str, str]:
    own = {name: value for name, value in os.environ.items() if not name.startswith(("KITPOST_", "DJANGO_"))}
    return own | {
        "PATH": f"{Path(sys.executable).parent}:{own['PATH']}",
        "KITPOST_SECRET_KEY": secrets.token_urlsafe(60),
        "KITPOST_BASE_URL": url,
        "KITPOST_DATABASE_URL": database,
        "KITPOST_BROKER_URL": f"redis://127.0.0.1:{redis_port}/0",
        "KITPOST_DATA_DIR": str(folder),
        "KITPOST_STATIC_DIR": str(folder / "static"),
        "KITPOST_ACCEL_PREFIX": "/store/",
        # A house on loopback: browsers that visited it are not to be told to use https for ever.
        "KITPOST_HSTS_SECONDS": "60",
    }


def manage(arguments: Sequence[str], environment: Mapping[str, str]) -> None:
    quietly([sys.executable, "manage.py", *arguments], environment)


def quietly(command: Sequence[str], environment: Mapping[str, str] | None = None) -> None:
    done = subprocess.run(command, cwd=ROOT, env=environment, capture_output=True, text=True, check=False)
    if done.returncode:
        raise NotOursError(f"{' '.join(command[:4])} failed: {done.stdout}{done.stderr}")


@contextmanager
def running(command: Sequence[str], folder: Path, environment: Mapping[str, str] | None = None) -> Iterator[None]:
    with subprocess.Popen(
        command, cwd=folder, env=environment, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL
    ) as it:
        try:
            yield
        finally:
            it.terminate()
            try:
                it.wait(ENDS_WITHIN_S)
            except subprocess.TimeoutExpired:
                it.kill()


def wait_for_site(port: int) -> None:
    give_up_at = time.monotonic() + STARTS_WITHIN_S
    while time.monotonic() < give_up_at:
        site = HTTPConnection("127.0.0.1", port, timeout=5)
        try:
            site.request("GET", "/healthz")
            site.getresponse()
            return
        except (OSError, HTTPException):
            time.sleep(0.1)
        finally:
            site.close()
    raise NotOursError("The site behind nginx did not start in time.")
