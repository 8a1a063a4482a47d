"""Tables kept on disk, so that a camera is worked out once: keyed by content, written whole, no pickles."""

from __future__ import annotations

import hashlib
import os
import tempfile
import time
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from numpy.typing import NDArray

    from glowkin.base.uncertainty import Array

_PATIENCE_S, _PAUSE_S = 10.0, 0.05
_KEPT = 40
"""Tables kept, of some 5 MB each; the longest unused go first."""


def cached(key: str, make: Callable[[], Array]) -> NDArray[np.float32]:
    """The table of this key (2-D), from disk or made now; a folder that cannot be written changes nothing."""
    path = _folder() / f"{hashlib.sha256(key.encode()).hexdigest()[:32]}.npy"
    there = _read(path)
    if there is not None:
        return there
    with _turn(path):
        there = _read(path)
        if there is not None:
            return there
        made = np.ascontiguousarray(make(), dtype=np.float32)
        with suppress(OSError):
            _write(path, made)
    return made


def _read(path: Path) -> NDArray[np.float32] | None:
    with suppress(OSError, ValueError, EOFError):
        table: NDArray[np.float32] = np.load(path, allow_pickle=False)
        os.utime(path)
        return table
    return None


@contextmanager
def _turn(path: Path) -> Iterator[None]:
    """Wait while another process makes the same table, for ``_PATIENCE_S`` at most: it may have died."""
    lock, ends = path.with_suffix(".making"), time.monotonic() + _PATIENCE_S
    mine = _take(lock)
    while not mine and time.monotonic() < ends and not path.exists():
        time.sleep(_PAUSE_S)
        mine = _take(lock)
    try:
        yield
    finally:
        if mine or time.monotonic() >= ends:
            with suppress(OSError):
                lock.unlink(missing_ok=True)


def _take(lock: Path) -> bool:
    """Whether it is this process's turn: no other's, or no folder to keep tables in."""
    try:
        lock.parent.mkdir(parents=True, exist_ok=True)
        os.close(os.open(lock, os.O_CREAT | os.O_EXCL))
    except FileExistsError:
        return False
    except OSError:
        return True
    return True


def content(*arrays: Array) -> str:
    """A key of what these arrays hold, to the precision of the tables."""
    digest = hashlib.sha256()
    for array in arrays:
        digest.update(str(np.shape(array)).encode())
        digest.update(np.ascontiguousarray(array, dtype="<f4").tobytes())
    return digest.hexdigest()


def _folder() -> Path:
    from platformdirs import user_cache_path

    return user_cache_path("glowkin", appauthor=False) / "answers"


def _write(path: Path, table: NDArray[np.float32]) -> None:
    path.parent.mkdir(parents=True, exist_ok=True)
    handle, name = tempfile.mkstemp(dir=path.parent, suffix=".part")
    try:
        with os.fdopen(handle, "wb") as file:
            np.save(file, table, allow_pickle=False)
        Path(name).replace(path)
    except BaseException:
        Path(name).unlink(missing_ok=True)
        raise
    for old in sorted(path.parent.glob("*.npy"), key=lambda p: p.stat().st_mtime)[:-_KEPT]:
        old.unlink(missing_ok=True)
