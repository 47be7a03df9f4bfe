"""Linear algebra on one thread, for computations made of many small matrices.

More threads only wait on one another there, the more so on a machine that serves several people.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import wraps
from typing import ParamSpec, TypeVar

from threadpoolctl import threadpool_limits

P = ParamSpec("P")
R = TypeVar("R")


def one_thread(function: Callable[P, R]) -> Callable[P, R]:
    """The function, its linear algebra held to one thread while it runs."""

    @wraps(function)
    def held(*args: P.args, **kwargs: P.kwargs) -> R:
        with threadpool_limits(limits=1, user_api="blas"):
            return function(*args, **kwargs)

    return held
