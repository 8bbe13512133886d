from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from tests.flows import interruptions
from tests.houses import demo, needs_proc
from tests.object_store import serving

if TYPE_CHECKING:
    from playwright.sync_api import Browser


SIZE_BYTES = 48 * 1024**2
TIMES = 5


@needs_proc
@pytest.mark.browser
def test_clients_that_nobody_here_wrote_are_killed_and_so_is_the_house(
    chromium: Browser, house_dir: Path, tmp_path: Path
) -> None:
    with demo(house_dir) as (_, house):
        for seed, name in enumerate(("node", "chromium", "tuspy"), start=1):
            path = interruptions.make_file(tmp_path / f"long take for {name}.wav", SIZE_BYTES, seed=seed)
            browser = chromium if name == "chromium" else None
            client = interruptions.make_client(name, house, path, browser=browser)
            try:
                struck = interruptions.interrupt(client, house_dir, SIZE_BYTES, times=TIMES, seed=2)
            finally:
                client.close()
            assert sum(struck.values()) == TIMES, name
            interruptions.check_received(
                house_dir, path, lambda key: interruptions.sha256_of(house_dir / "store" / key), uploads=seed
            )


@needs_proc
def test_with_an_s3_store_killed_processes_lose_nothing_either(house_dir: Path, tmp_path: Path) -> None:
    path = interruptions.make_file(tmp_path / "long take.wav", SIZE_BYTES, seed=3)
    with serving(tmp_path / "s3") as store, demo(house_dir, store.settings) as (_, house):
        client = interruptions.make_client("tuspy", house, path)
        try:
            struck = interruptions.interrupt(client, house_dir, SIZE_BYTES, times=TIMES, seed=4)
        finally:
            client.close()
        assert sum(struck.values()) == TIMES
        interruptions.check_received(house_dir, path, store.sha256_of)
