"""Why a demo does not start.

DemoError
├── UsageError    the folder, the port or the arguments: one sentence, exit 2
└── StartError    a part of the house did not come up: one sentence and the log to read, exit 1
"""


class DemoError(Exception):
    exit_code = 1


class UsageError(DemoError):
    exit_code = 2


class StartError(DemoError):
    exit_code = 1
