"""Keeps native decoders from writing to standard error past Python; what is wrong our own sentence says."""

from __future__ import annotations

import os
import threading
from contextlib import contextmanager
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterator

_lock = threading.Lock()
_inside = 0
_kept = -1


@contextmanager
def quiet() -> Iterator[None]:
    """Standard error of the process goes nowhere while any thread is inside."""
    _enter()
    try:
        yield
    finally:
        _leave()


def _enter() -> None:
    global _inside, _kept  # noqa: PLW0603 - one standard error for all threads
    with _lock:
        if _inside == 0:
            try:
                _kept = os.dup(2)
                nowhere = os.open(os.devnull, os.O_WRONLY)
                os.dup2(nowhere, 2)
                os.close(nowhere)
            except OSError:
                _kept = -1
        _inside += 1


def _leave() -> None:
    global _inside, _kept  # noqa: PLW0603 - one standard error for all threads
    with _lock:
        _inside -= 1
        if _inside == 0 and _kept >= 0:
            os.dup2(_kept, 2)
            os.close(_kept)
            _kept = -1
