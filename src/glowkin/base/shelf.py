"""Records of a long series kept in a temporary file, so that they take no memory while they wait."""

from __future__ import annotations

import pickle
import tempfile
import weakref
from array import array
from collections.abc import Iterable, Sequence
from dataclasses import fields, is_dataclass
from typing import Any, TypeVar, overload

T = TypeVar("T")


class Shelf(Sequence[T]):
    """Records in the order they came; each is read back from this process's own file when it is asked for.

    The file has no name, and is gone with the shelf.
    """

    def __init__(self, items: Iterable[T] = ()) -> None:
        self._file = tempfile.TemporaryFile()  # noqa: SIM115 - open as long as the shelf is there
        weakref.finalize(self, self._file.close)
        self._ends = array("q", [0])
        self._last: tuple[int, T] | None = None
        for item in items:
            self.append(item)

    def append(self, item: T) -> None:
        """Put a record behind the others."""
        packed = pickle.dumps(item, protocol=5)
        self._file.seek(self._ends[-1])
        self._file.write(packed)
        self._ends.append(self._ends[-1] + len(packed))

    def __len__(self) -> int:
        """How many there are."""
        return len(self._ends) - 1

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
        if self._last is None or self._last[0] != index:
            self._file.seek(self._ends[index])
            packed = self._file.read(self._ends[index + 1] - self._ends[index])
            self._last = index, pickle.loads(packed)  # noqa: S301 - what append wrote
        return self._last[1]


def kept_as(like: Sequence[T], items: Iterable[T]) -> list[T] | Shelf[T]:
    """The items on a shelf where the others are on one, else in a list."""
    return Shelf(items) if isinstance(like, Shelf) else list(items)


def shallow(record: Any) -> dict[str, Any]:
    """A record's fields as they are, for a JSON document that is written piece by piece (its ``default``)."""
    if not is_dataclass(record):
        raise TypeError(f"{type(record).__name__} is not a record")
    return {f.name: getattr(record, f.name) for f in fields(record)}
