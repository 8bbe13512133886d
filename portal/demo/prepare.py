"""What a demo does before it opens: the tables, the invented house, and who may sign in (one line of JSON)."""

import json
import sys

import django
from django.core.management import call_command


def prepare() -> None:
    django.setup()
    from portal.demo.seed import seed_house

    call_command("check")
    call_command("migrate", verbosity=0, interactive=False)
    json.dump(seed_house(), sys.stdout)


if __name__ == "__main__":
    prepare()
