"""The check of a song of many files, beside a busy machine: how long its transactions hold what they wrote."""

from __future__ import annotations

import argparse
import sys

from bench.speed.own_house import in_memory, run_in_own_house


def run(options: argparse.Namespace) -> None:
    run_in_own_house("bench.speed.checking", str(options.tiny_files), under=options.data, broker_url=in_memory)


if __name__ == "__main__":
    import django

    django.setup()

    from bench.speed.checking_job import measure

    measure(int(sys.argv[2]))
