"""One map over photographs: a bad one is reported, the others go on."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from typing import TYPE_CHECKING, Generic, TypeVar

from glowkin.base.errors import CannotMeasureError, CannotReadError

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Sequence
    from pathlib import Path

T = TypeVar("T")


@dataclass(frozen=True)
class Outcome(Generic[T]):
    """What came of one photograph: a result, or the sentence that says why there is none."""

    path: Path
    result: T | None = None
    message: str | None = None


def map_photos(work: Callable[[Path], T], paths: Sequence[Path], jobs: int = 1) -> Iterator[Outcome[T]]:
    """Do the work on each path, in order; decoding releases the interpreter, so threads are enough."""

    def one(path: Path) -> Outcome[T]:
        try:
            return Outcome(path, work(path))
        except (CannotReadError, CannotMeasureError) as error:
            return Outcome(path, message=str(error))

    if jobs <= 1 or len(paths) <= 1:
        yield from map(one, paths)
        return
    pool = ThreadPoolExecutor(jobs)
    try:
        yield from pool.map(one, paths)
    finally:
        pool.shutdown(wait=True, cancel_futures=True)
