"""What a demo does before it opens: the tables, the invented house, and who may sign in (one line of JSON)."""

import json
import sys
from contextlib import redirect_stdout

import django
from django.core.management import call_command

from portal.demo.processes import SMALL


def prepare(*, small: bool) -> None:
    django.setup()
    from portal.demo.seed import seed_house

    with redirect_stdout(sys.stderr):
        call_command("check")
        call_command("migrate", verbosity=0, interactive=False)
        house = seed_house(small=small)
    json.dump(house, sys.stdout)


if __name__ == "__main__":
    prepare(small=SMALL in sys.argv[1:])
