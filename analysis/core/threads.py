"""One thread for matrix work, wherever measuring runs.

The products here are small. A matrix library that splits them over the cores mostly waits for its own threads, and on a
busy machine a survey then takes many times as long. Children are told so before they start, by their environment; this
is for everyone else. Asking takes a look into /proc, which is closed to children.
"""

from __future__ import annotations

import os
from collections.abc import Callable
from functools import wraps
from typing import ParamSpec, TypeVar

from threadpoolctl import threadpool_limits

_P = ParamSpec("_P")
_R = TypeVar("_R")


def on_one_thread(measure: Callable[_P, _R]) -> Callable[_P, _R]:
    @wraps(measure)
    def limited(*arguments: _P.args, **options: _P.kwargs) -> _R:
        if os.environ.get("OPENBLAS_NUM_THREADS") == "1":
            return measure(*arguments, **options)
        with threadpool_limits(limits=1, user_api="blas"):
            return measure(*arguments, **options)

    return limited
