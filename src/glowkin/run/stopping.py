"""Being told to stop: ctrl-C, or the system's request to end."""

from __future__ import annotations

import contextlib
import signal
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator
    from types import FrameType


class Stop:
    """Whether a run was told to stop; later requests change nothing, so that the result is written."""

    def __init__(self) -> None:
        self._told = self._breaks = False

    def told(self) -> bool:
        """Whether it was."""
        return self._told

    def tell(self, _number: int = 0, _frame: FrameType | None = None) -> None:
        """Stop; work in ``broken_off`` ends at once."""
        self._told = True
        if self._breaks:
            self._breaks = False
            raise KeyboardInterrupt

    def broken_off(self, work: Callable[[], None]) -> None:
        """Do work that may end anywhere."""
        try:
            self._breaks = True
            if not self._told:
                work()
        except KeyboardInterrupt:
            pass
        finally:
            self._breaks = False


@contextlib.contextmanager
def stoppable() -> Iterator[Stop]:
    """Until the end of this, ctrl-C and the system's request to end go to the ``Stop``.

    Ctrl-C also where a shell that started the run behind itself had it passed over; the end of the terminal
    only where it was not (``nohup``).
    """
    stop = Stop()
    numbers = [signal.SIGINT, signal.SIGTERM]
    if hasattr(signal, "SIGHUP") and signal.getsignal(signal.SIGHUP) != signal.SIG_IGN:
        numbers.append(signal.SIGHUP)
    before = {number: signal.signal(number, stop.tell) for number in numbers}
    try:
        yield stop
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)
