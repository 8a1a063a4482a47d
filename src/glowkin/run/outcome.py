"""What came of one photograph."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Generic, TypeVar

if TYPE_CHECKING:
    from pathlib import Path

T = TypeVar("T")


@dataclass(frozen=True)
class Outcome(Generic[T]):
    """What came of one photograph: a result, or the sentence that says why there is none."""

    path: Path
    result: T | None = None
    message: str | None = None
