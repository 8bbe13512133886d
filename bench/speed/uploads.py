"""Uploads: clients that nobody here wrote are interrupted at random places; throughput and memory beside baselines.

Everything runs on this machine, over loopback, against the house as `manage.py demo` starts it.
"""

from __future__ import annotations

import argparse
import shutil
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

from bench.speed import upload_speed
from tests.conftest import CHROMIUM_FLAGS, chromium_program
from tests.flows import interruptions
from tests.houses import demo

if TYPE_CHECKING:
    from playwright.sync_api import Browser

CLIENTS = ("node", "chromium", "tuspy")
MIB = 1024**2


def run(options: argparse.Namespace) -> None:
    with scratch(options.data) as folder:
        path = interruptions.make_file(folder / "long take.wav", options.megabytes * MIB, seed=options.seed)
        if options.interruptions:
            for name in CLIENTS:
                interrupted(name, path, folder / name, options)
        else:
            upload_speed.run(path, folder)


@contextmanager
def scratch(data: Path) -> Iterator[Path]:
    """A folder on the data folder's disk that leaves nothing behind."""
    folder = Path(tempfile.mkdtemp(prefix="uploads-", dir=data)).resolve()
    try:
        yield folder
    finally:
        shutil.rmtree(folder)


@contextmanager
def browser_for(name: str) -> Iterator[Browser | None]:
    if name != "chromium":
        yield None
        return
    from playwright.sync_api import sync_playwright

    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=chromium_program(), args=CHROMIUM_FLAGS)
        yield browser
        browser.close()


def interrupted(name: str, path: Path, house_dir: Path, options: argparse.Namespace) -> None:
    with demo(house_dir) as (_, house), browser_for(name) as browser:
        client = interruptions.make_client(name, house, path, browser=browser)
        start = time.monotonic()
        try:
            struck = interruptions.interrupt(
                client, house_dir, path.stat().st_size, times=options.interruptions, seed=options.seed
            )
        finally:
            client.close()
        took_s = time.monotonic() - start
        interruptions.check_received(house_dir, path, lambda key: interruptions.sha256_of(house_dir / "store" / key))
    print(
        f"  {name:<10}{options.megabytes} MiB, house killed {struck['house']} times, client {struck['client']} times: "
        f"received, hashes equal; {took_s:.0f} s",
        flush=True,
    )
    shutil.rmtree(house_dir)
