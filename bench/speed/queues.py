"""How long mail, a zip, a small file and a long one wait beside one booking's many tiny files, and the zip beside a
session pack: real queue, real workers."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

from bench.speed.own_house import run_in_own_house
from portal.demo import broker


def run(options: argparse.Namespace) -> None:
    run_in_own_house("bench.speed.queues", str(options.tiny_files), under=options.data, broker_url=of_a_demo)


def of_a_demo(data_dir: Path) -> str:
    return broker.broker_url(broker.socket_path(data_dir))


if __name__ == "__main__":
    import django

    django.setup()

    from bench.speed.queues_job import measure

    measure(int(sys.argv[2]), Path(sys.argv[1]), broker.socket_path(Path(sys.argv[1])))
