"""A worker: a second Python that does the work on one photograph at a time, with limits.

``main`` imports the modules that the command line names, then reads tasks from its standard input and
answers on its standard output, as pickles. What native decoders write goes nowhere; an interrupt is left to
the process that started it, and when that is gone, so is the worker, whatever it is doing.
"""

from __future__ import annotations

import importlib
import os
import pickle
import queue
import signal
import sys
import threading
from pathlib import Path
from typing import TYPE_CHECKING, Any, BinaryIO

from glowkin.base.errors import CannotMeasureError, CannotReadError, GlowkinError
from glowkin.run.outcome import Outcome

if TYPE_CHECKING:
    from collections.abc import Callable

READY = "ready"


def attempt(work: Callable[[Path], Any], path: Path) -> Outcome[Any]:
    """The result, or the sentence that says why there is none; other errors are the caller's."""
    try:
        return Outcome(path, work(path))
    except (CannotReadError, CannotMeasureError) as error:
        return Outcome(path, message=str(error))
    except MemoryError:
        return Outcome(path, message=f"{path}: does not fit in the memory; crop it or export it smaller")


def main() -> None:
    """Do tasks until standard input ends."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    tasks, answers = _private_pipes()
    sys.path[:] = pickle.load(tasks)  # noqa: S301 - from the process that started us
    for module in sys.argv[1:]:
        importlib.import_module(module)
    _answer(answers, READY)
    for work, path, spare_bytes in iter(_tasks(tasks).get, None):
        _answer(answers, _done(work, path, spare_bytes))


def _private_pipes() -> tuple[BinaryIO, BinaryIO]:
    """Standard input and output for us alone; decoders that print find nothing there."""
    tasks, answers = os.fdopen(os.dup(0), "rb"), os.fdopen(os.dup(1), "wb")
    nowhere = os.open(os.devnull, os.O_RDWR)
    for standard in (0, 1, 2):
        os.dup2(nowhere, standard)
    return tasks, answers


def _tasks(pipe: BinaryIO) -> queue.SimpleQueue[Any]:
    """Tasks as they come, read aside so that the end of the pipe ends us even in the middle of one."""
    waiting: queue.SimpleQueue[Any] = queue.SimpleQueue()

    def read() -> None:
        while True:
            try:
                waiting.put(pickle.load(pipe))  # noqa: S301 - from the process that started us
            except (EOFError, OSError, pickle.UnpicklingError):
                os._exit(0)

    threading.Thread(target=read, daemon=True).start()
    return waiting


def _done(work: bytes, path: Path, spare_bytes: int | None) -> Outcome[Any] | GlowkinError:
    """The outcome of pickled work; an error of use is handed back to be raised there."""
    try:
        imported = pickle.loads(work)  # noqa: S301 - from the process that started us
        _limit_memory(spare_bytes)
        return attempt(imported, path)
    except GlowkinError as error:
        return error
    except Exception as error:  # noqa: BLE001 - one photograph must not end the run
        return Outcome(path, message=f"{path}: could not be measured ({type(error).__name__}: {error})")


def _answer(pipe: BinaryIO, what: Any) -> None:
    pipe.write(pickle.dumps(what))
    pipe.flush()


def _limit_memory(spare_bytes: int | None) -> None:
    """Let the process grow by so much from here, and leave no core file; not every system can."""
    try:
        import resource

        resource.setrlimit(resource.RLIMIT_CORE, (0, 0))
        if spare_bytes is not None:
            now = int(Path("/proc/self/statm").read_text("ascii").split()[0]) * resource.getpagesize()
            resource.setrlimit(
                resource.RLIMIT_AS, (now + spare_bytes, resource.getrlimit(resource.RLIMIT_AS)[1])
            )
    except (ImportError, OSError, ValueError):
        return
