"""Records of a long series kept in a temporary file, so that they take no memory while they wait."""

from __future__ import annotations

import os
import pickle
import tempfile
import weakref
from array import array
from collections.abc import Iterable, Sequence
from dataclasses import fields, is_dataclass
from typing import Any, TypeVar, overload

T = TypeVar("T")


class _File:
    """A file without a name; gone with the last shelf that has it."""

    def __init__(self) -> None:
        self._file = tempfile.TemporaryFile()  # noqa: SIM115 - open as long as a shelf has it
        weakref.finalize(self, self._file.close)
        self._end = 0

    def put(self, packed: bytes) -> tuple[int, int]:
        """Write behind all else; answers where it begins and how long it is."""
        self._file.seek(self._end)
        self._file.write(packed)
        self._file.flush()
        self._end += len(packed)
        return self._end - len(packed), len(packed)

    def take(self, begins: int, length: int) -> bytes:
        """Read, in whichever thread, while another puts."""
        if hasattr(os, "pread"):
            return os.pread(self._file.fileno(), length, begins)
        self._file.seek(begins)
        return self._file.read(length)


class Shelf(Sequence[T]):
    """Records in the order they came; each is read back from this process's own file when it is asked for.

    The file has no name, and is gone with the shelf.
    """

    def __init__(self, items: Iterable[T] = ()) -> None:
        self._file = _File()
        self._begins, self._length = array("q"), array("q")
        self._last: tuple[int, T] | None = None
        for item in items:
            self.append(item)

    def append(self, item: T) -> None:
        """Put a record behind the others."""
        begins, length = self._file.put(pickle.dumps(item, protocol=5))
        self._begins.append(begins)
        self._length.append(length)

    def of(self, places: Iterable[int]) -> Shelf[T]:
        """The records at these places, in that order, without writing them again."""
        out: Shelf[T] = Shelf.__new__(Shelf)
        out._file, out._last = self._file, None
        wanted = list(places)
        out._begins = array("q", (self._begins[i] for i in wanted))
        out._length = array("q", (self._length[i] for i in wanted))
        return out

    def holds_what(self, other: Shelf[T]) -> bool:
        """Whether both hold the same records of one file in the same order."""
        return self._file is other._file and self._begins == other._begins

    def __len__(self) -> int:
        """How many there are."""
        return len(self._begins)

    @overload
    def __getitem__(self, index: int) -> T: ...
    @overload
    def __getitem__(self, index: slice) -> list[T]: ...
    def __getitem__(self, index: int | slice) -> T | list[T]:
        """One record, or a list of them."""
        if isinstance(index, slice):
            return [self._read(i) for i in range(*index.indices(len(self)))]
        if not -len(self) <= index < len(self):
            raise IndexError(index)
        return self._read(index % len(self))

    def _read(self, index: int) -> T:
        last = self._last
        if last is None or last[0] != index:
            packed = self._file.take(self._begins[index], self._length[index])
            self._last = last = index, pickle.loads(packed)  # noqa: S301 - what append wrote
        return last[1]


def kept_as(like: Sequence[T], items: Iterable[T]) -> list[T] | Shelf[T]:
    """The items on a shelf where the others are on one, else in a list."""
    return Shelf(items) if isinstance(like, Shelf) else list(items)


def shallow(record: Any) -> dict[str, Any]:
    """A record's fields as they are, for a JSON document that is written piece by piece (its ``default``)."""
    if not is_dataclass(record):
        raise TypeError(f"{type(record).__name__} is not a record")
    return {f.name: getattr(record, f.name) for f in fields(record)}
