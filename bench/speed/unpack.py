"""A small zip of many entries with one name, beside a busy machine: how long it takes, and how long anybody waits."""

from __future__ import annotations

import argparse
import sys

from bench.speed.own_house import in_memory, run_in_own_house


def run(options: argparse.Namespace) -> None:
    run_in_own_house("bench.speed.unpack", str(options.entries), under=options.data, broker_url=in_memory)


if __name__ == "__main__":
    import django

    django.setup()

    from bench.speed.unpack_job import measure

    measure(int(sys.argv[2]))
