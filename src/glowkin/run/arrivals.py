"""Photographs as they come into a folder, each once it is complete."""

from __future__ import annotations

import os
import time
from typing import TYPE_CHECKING, TypeAlias

from glowkin.run.gather import is_photograph

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Sequence
    from pathlib import Path

Stamp: TypeAlias = tuple[int, int]
"""Size in bytes and time of the last change in ns."""

STILL_S = 1.0
"""A file of one size and time for so long counts as written; one that is not after all changes once more."""
_LOOK_S = 0.5


def arrivals(folder: Path, suffixes: Sequence[str], stopped: Callable[[], bool]) -> Iterator[list[Path]]:
    """The photographs that have become complete since the last time, by name; often none.

    A file is handed out again whenever it has changed, and also where it was written anew as it was. A folder
    that is gone for a while, as on a network, is waited for.
    """
    still = Still(folder, suffixes)
    for _ in _news(folder, stopped):
        yield still.look(time.monotonic())


class Still:
    """Which files of a folder have stood still for ``STILL_S`` and were not handed out as they are."""

    def __init__(self, folder: Path, suffixes: Sequence[str]) -> None:
        self._folder, self._suffixes = folder, suffixes
        self._since: dict[Path, tuple[Stamp, float]] = {}
        self._given: dict[Path, Stamp] = {}

    def look(self, now: float) -> list[Path]:
        """Those that are complete at this time, in seconds of a clock that only goes on."""
        ready = []
        for path, stamp in self._stamps():
            if self._given.get(path) == stamp:
                continue
            before, since = self._since.get(path, (None, now))
            if before != stamp:
                self._since[path] = stamp, now
            elif now - since >= STILL_S and stamp[0]:
                ready.append(path)
                self._given[path] = stamp
                del self._since[path]
        return sorted(ready)

    def _stamps(self) -> Iterator[tuple[Path, Stamp]]:
        try:
            with os.scandir(self._folder) as entries:
                names = [e.name for e in entries]
        except OSError:
            return
        for path in (self._folder / name for name in names):
            try:
                if is_photograph(path, self._suffixes):
                    told = path.stat()
                    yield path, (told.st_size, told.st_mtime_ns)
            except OSError:
                continue


def _news(folder: Path, stopped: Callable[[], bool]) -> Iterator[None]:
    """Whenever the system tells of a change, and every half second, since network folders tell nothing."""
    yield
    try:
        from watchfiles import watch

        event = _Event(stopped)
        told = watch(
            folder, watch_filter=None, debounce=400, step=100, rust_timeout=int(1000 * _LOOK_S),
            yield_on_timeout=True, stop_event=event, raise_interrupt=False, recursive=False,
        )  # fmt: skip
        for _ in told:
            yield
    except (OSError, RuntimeError):
        pass  # no system to tell, or no more places to watch: looking will do
    while not stopped():
        time.sleep(_LOOK_S)
        yield


class _Event:
    """What the library asks whether to stop."""

    def __init__(self, stopped: Callable[[], bool]) -> None:
        self.is_set = stopped
