#!/usr/bin/env python
import os
import sys


def main() -> None:
    # The demo makes its own settings before Django reads any, and never becomes a Django process itself.
    if sys.argv[1:2] == ["demo"]:
        from portal.demo.command import run

        sys.exit(run(sys.argv[2:]))
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "portal.settings")
    from django.core.management import execute_from_command_line

    from portal.env import SettingError

    try:
        execute_from_command_line(sys.argv)
    except SettingError as error:
        sys.exit(str(error))


if __name__ == "__main__":
    main()
