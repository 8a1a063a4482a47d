"""Work for worker processes, good and bad; here, since a worker must be able to import it."""

from __future__ import annotations

import ctypes
import os
import sys
import time

from glowkin.base.errors import CannotMeasureError, CannotReadError, WrongUseError


def deed(path):
    """Do what the stem of the path says; its name where that is nothing special."""
    return _DEEDS.get(path.stem.split("-")[0], lambda p: p.stem)(path)


def own_number(path):
    return os.getpid()


def _abort(path):
    os.abort()


def _segfault(path):
    ctypes.string_at(0)


def _sleep(path):
    time.sleep(60)


def _allocate(path):
    return len(bytearray(3 << 30))


def _chatter(path):
    os.write(1, b"libx: warning\n")
    os.write(2, b"libx: warning\n")
    sys.stdout.write("and more\n")
    sys.stderr.write("and more\n")
    return "said"


def _unreadable(path):
    raise CannotReadError(f"{path}: bad")


def _unmeasurable(path):
    raise CannotMeasureError(f"{path}: bad")


def _mistaken(path):
    return path.parts[99]


def _misused(path):
    raise WrongUseError("--white-point nonsense")


def _killed(path):
    os.kill(os.getpid(), 9)


_DEEDS = {
    "abort": _abort,
    "segfault": _segfault,
    "sleep": _sleep,
    "allocate": _allocate,
    "chatter": _chatter,
    "unreadable": _unreadable,
    "unmeasurable": _unmeasurable,
    "mistaken": _mistaken,
    "misused": _misused,
    "killed": _killed,
}
