"""One thread for linear algebra while the library computes.

The matrices are small: threads that compete for them spin for each other, and beside one busy process a batch of four seconds takes a
minute. What the caller's process had set comes back afterwards.
"""

from __future__ import annotations

import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from functools import cache, wraps
from typing import Any, TypeVar

Work = TypeVar("Work", bound=Callable[..., Any])
_inside = threading.local()


@cache
def _controller() -> Any:
    from threadpoolctl import ThreadpoolController

    return ThreadpoolController()  # finding the libraries takes a while, so it is done once


@contextmanager
def one_thread() -> Iterator[None]:
    """Linear algebra on one thread inside; entering it again inside costs nothing.

    >>> with one_thread():
    ...     pass
    """
    if getattr(_inside, "so", False):
        yield
        return
    _inside.so = True
    try:
        with _controller().limit(limits=1, user_api="blas"):
            yield
    finally:
        _inside.so = False


@contextmanager
def one_thread_more() -> Iterator[None]:
    """The same inside of it, for libraries that were loaded since as well: scipy, which comes late, has threads of its own."""
    _controller.cache_clear()
    with _controller().limit(limits=1, user_api="blas"):
        yield


def on_one_thread(work: Work) -> Work:
    """The same function, with linear algebra on one thread."""

    @wraps(work)
    def done(*given: Any, **more: Any) -> Any:
        with one_thread():
            return work(*given, **more)

    return done  # type: ignore[return-value]
