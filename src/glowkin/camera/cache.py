"""Tables kept on disk, so that a camera is worked out once: keyed by content, written whole, no pickles."""

from __future__ import annotations

import hashlib
import os
import tempfile
from contextlib import suppress
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Callable

    from numpy.typing import NDArray

    from glowkin.base.uncertainty import Array

_KEPT = 40
"""Tables kept, of some 5 MB each; the longest unused go first."""


def cached(key: str, make: Callable[[], Array]) -> NDArray[np.float32]:
    """The table of this key (2-D), from disk or made now; a folder that cannot be written changes nothing."""
    path = _folder() / f"{hashlib.sha256(key.encode()).hexdigest()[:32]}.npy"
    with suppress(OSError, ValueError):
        table: NDArray[np.float32] = np.load(path, allow_pickle=False)
        os.utime(path)
        return table
    made = np.ascontiguousarray(make(), dtype=np.float32)
    with suppress(OSError):
        _write(path, made)
    return made


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
