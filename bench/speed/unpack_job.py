"""The measuring itself, in a house of its own (`bench/speed/unpack.py`)."""

from __future__ import annotations

from django.core.management import call_command

from bench.speed.transactions import database_name, measuring
from tests.portal.intake.made_zips import zip_of_one_name


def measure(entries: int) -> None:
    from portal.intake.zips import unpacking
    from tests.factories import make_sent_zip

    call_command("migrate", verbosity=0, interactive=False)
    content = zip_of_one_name(entries)
    sent = make_sent_zip(content=content)
    print(f"\nUnpack: {entries} entries of one name, a zip of {len(content) / 1000:.0f} kB, on {database_name()}")
    with measuring() as measured:
        unpacking.unpack(sent.pk)
    print(f"  unpacked in {measured.took_s:.1f} s ({sent.sources.count()} files)")
    measured.tell()
