"""Worker processes: started, watched, replaced when they die, and kept for the next photographs."""

from __future__ import annotations

import atexit
import contextlib
import os
import pickle
import subprocess
import sys
import threading
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from glowkin.base.errors import GlowkinError
from glowkin.run.outcome import Outcome

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence
    from pathlib import Path

_GIGABYTE = 1 << 30
_LEAST = 2 * _GIGABYTE
_START_S = 60.0
"""A cold start from a slow disk takes long, and says nothing of the photograph."""
_PROGRAM = "from glowkin.run.worker import main; main()"
_OUT_OF_MEMORY = -9
"""The status of a process that the system killed for want of memory."""


@dataclass(frozen=True)
class WorkLimits:
    """What one photograph may take: ``seconds``, and ``bytes`` of memory (None: a share of the machine's)."""

    seconds: float = 120.0
    bytes: int | None = None

    def share(self, jobs: int) -> int | None:
        """Bytes for each of so many workers; None where the machine does not tell its memory."""
        if self.bytes is not None:
            return self.bytes
        try:
            whole = os.sysconf("SC_PAGE_SIZE") * os.sysconf("SC_PHYS_PAGES")
        except (AttributeError, OSError, ValueError):
            return None
        return max(int(0.8 * whole / jobs), _LEAST)


class Worker:
    """One worker process; a fresh one takes its place when it dies."""

    def __init__(self, modules: Sequence[str] = ()) -> None:
        self._modules = tuple(modules)
        self._process: subprocess.Popen[bytes] | None = None
        self._greeted = self._timed_out = self._stopped = False

    def start(self) -> None:
        """Start the process and return at once; it imports its modules meanwhile."""
        self._greeted = self._timed_out = False
        path = [os.fspath(p) for p in sys.path if p]
        # a session of its own: an interrupt at the terminal is ours to handle
        self._process = subprocess.Popen(  # noqa: S603 - our own program
            [sys.executable, "-c", _PROGRAM, *self._modules],
            stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL,
            start_new_session=True, env={**os.environ, "PYTHONPATH": os.pathsep.join(path)},
        )  # fmt: skip
        self._send(list(sys.path))

    def do(self, work: bytes, path: Path, seconds: float, spare_bytes: int | None) -> Outcome[Any]:
        """The outcome of pickled work on a path; one sentence where the worker died or took too long."""
        try:
            self._ready()
            with self._within(seconds):
                self._send((work, path, spare_bytes))
                answer = self._receive()
        except (EOFError, OSError, pickle.UnpicklingError):
            return Outcome(path, message=f"{path}: {self._last_words(seconds)}")
        if isinstance(answer, GlowkinError):
            raise answer
        return answer  # type: ignore[no-any-return]

    def stop(self) -> None:
        """Kill the process, from any thread; what it was doing ends as a photograph that has no result."""
        self._stopped = True
        if self._process is not None:
            self._process.kill()

    def close(self) -> None:
        """End the process, which holds nothing worth keeping, and clear up behind it."""
        process, self._process = self._process, None
        if process is None:
            return
        process.kill()
        for pipe in (process.stdin, process.stdout):
            if pipe is not None:
                with contextlib.suppress(OSError):
                    pipe.close()
        process.wait()

    def _last_words(self, seconds: float) -> str:
        """Why the process is gone, and the mend; the next task starts another."""
        status, greeted = self._status(), self._greeted
        self.close()
        if self._stopped:
            return "was not measured, for the run was stopped"
        if self._timed_out and greeted:
            return f"took longer than {seconds:g} s and was given up; crop it or export it smaller"
        if not greeted:
            raise GlowkinError(
                f"a second Python process, which reads the photographs, did not start ({sys.executable}); "
                "install glowkin again"
            )
        if status == _OUT_OF_MEMORY:
            return "was stopped by the system, which ran out of memory; crop it, or measure with --jobs 1"
        return "is such that its decoder crashed; copy it from the camera again, or save it as TIFF"

    def _status(self) -> int | None:
        """With what status the process ended, if it did within a moment."""
        try:
            return None if self._process is None else self._process.wait(1.0)
        except subprocess.TimeoutExpired:
            return None

    def _ready(self) -> None:
        """See that the process runs and has imported what it needs."""
        if self._process is None:
            self.start()
        if not self._greeted:
            with self._within(_START_S):
                self._greeted = self._receive() is not None

    @contextlib.contextmanager
    def _within(self, seconds: float) -> Iterator[None]:
        timer = threading.Timer(seconds, self._give_up)
        timer.daemon = True
        timer.start()
        try:
            yield
        finally:
            timer.cancel()

    def _give_up(self) -> None:
        self._timed_out = True
        if self._process is not None:
            self._process.kill()

    def _send(self, what: Any) -> None:
        assert self._process is not None  # noqa: S101 - started by do
        assert self._process.stdin is not None  # noqa: S101 - a pipe
        self._process.stdin.write(pickle.dumps(what))
        self._process.stdin.flush()

    def _receive(self) -> Any:
        assert self._process is not None  # noqa: S101 - started by do
        assert self._process.stdout is not None  # noqa: S101 - a pipe
        return pickle.load(self._process.stdout)  # noqa: S301 - from our own worker


_kept: list[Worker] = []


def warm(jobs: int, modules: Sequence[str]) -> None:
    """Start workers that will be needed soon; they import the modules while the caller does other things."""
    for _ in range(jobs - len(_kept)):
        worker = Worker(modules)
        worker.start()
        _kept.append(worker)


@contextlib.contextmanager
def workers(jobs: int, *, keep: bool) -> Iterator[list[Worker]]:
    """So many workers: those at hand, and new ones; ``keep`` them for the next time."""
    hired = [_kept.pop() for _ in range(min(jobs, len(_kept)))] if keep else []
    hired += [Worker() for _ in range(jobs - len(hired))]
    try:
        yield hired
    except BaseException:
        keep = False
        raise
    finally:
        if keep:
            _kept.extend(hired)
        else:
            for worker in hired:
                worker.close()


@atexit.register
def close_all() -> None:
    """End the workers that were kept."""
    while _kept:
        _kept.pop().close()
