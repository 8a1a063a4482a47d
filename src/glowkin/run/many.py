"""One map over photographs: a bad one is reported, the others go on."""

from __future__ import annotations

import pickle
import queue
from collections import deque
from concurrent.futures import ThreadPoolExecutor
from typing import TYPE_CHECKING, Any, TypeVar

from glowkin.run.pool import WorkLimits, workers
from glowkin.run.worker import attempt

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Sequence
    from concurrent.futures import Future
    from pathlib import Path

    from glowkin.run.outcome import Outcome

T = TypeVar("T")

_AHEAD = 4
"""Photographs under way for each worker, so that none idles while a slow one is waited for."""


def map_photos(
    work: Callable[[Path], T], paths: Sequence[Path], jobs: int = 1, limits: WorkLimits | None = None
) -> Iterator[Outcome[T]]:
    """Do the work on each path, ``jobs`` at once; outcomes come in order, each as soon as it can.

    Work that another Python can import is done in worker processes, with ``limits`` on time and memory for
    each photograph: a function of a module, such as ``glowkin.measure``, or a ``functools.partial`` of one.
    A worker that crashes, hangs or runs out of memory costs one photograph, and a sentence says so. Other
    work (a lambda, a function within a function, of a notebook or of the script that was started) is done
    in this process, in threads and without limits. CannotReadError and CannotMeasureError become the
    message of their outcome, and so does any error in a worker; WrongUseError is raised and ends the map.
    """
    if not paths:
        return iter(())
    pickled = portable(work)
    jobs = min(jobs, len(paths))
    if pickled is None:
        return _in_threads(work, paths, jobs)
    return _in_workers(pickled, paths, jobs, limits or WorkLimits(), keep=_is_ours(work))


def portable(work: Callable[[Path], Any]) -> bytes | None:
    """The work as bytes that another process can import it by, or None."""
    try:
        pickled = pickle.dumps(work)
    except (pickle.PicklingError, AttributeError, TypeError):
        return None
    return None if b"__main__" in pickled else pickled


def _is_ours(work: Any) -> bool:
    """Whether a worker that did this is as good as new: it has imported nothing that the user may change."""
    return str(getattr(getattr(work, "func", work), "__module__", "")).startswith("glowkin.")


def _in_threads(work: Callable[[Path], T], paths: Sequence[Path], jobs: int) -> Iterator[Outcome[T]]:
    if jobs <= 1:
        yield from (attempt(work, path) for path in paths)
        return
    pool = ThreadPoolExecutor(jobs)
    try:
        yield from pool.map(lambda path: attempt(work, path), paths)
    finally:
        pool.shutdown(wait=True, cancel_futures=True)


def _in_workers(
    work: bytes, paths: Sequence[Path], jobs: int, limits: WorkLimits, *, keep: bool
) -> Iterator[Outcome[Any]]:
    """A thread waits on each worker; where the map is left early, the workers are stopped at once."""
    with workers(jobs, keep=keep) as hired:
        idle: queue.SimpleQueue[Any] = queue.SimpleQueue()
        for worker in hired:
            idle.put(worker)
        spare = limits.share(jobs)

        def one(path: Path) -> Outcome[Any]:
            worker = idle.get()
            try:
                return worker.do(work, path, limits.seconds, spare)  # type: ignore[no-any-return]
            finally:
                idle.put(worker)

        waiters = ThreadPoolExecutor(jobs)
        try:
            waiting: deque[Future[Outcome[Any]]] = deque()
            for path in paths:  # no more than the workers need: results wait nowhere
                waiting.append(waiters.submit(one, path))
                if len(waiting) > _AHEAD * jobs:
                    yield waiting.popleft().result()
            while waiting:
                yield waiting.popleft().result()
        except BaseException:
            for worker in hired:
                worker.stop()
            raise
        finally:
            waiters.shutdown(wait=True, cancel_futures=True)
