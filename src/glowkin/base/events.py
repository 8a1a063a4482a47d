"""What happened while a series was photographed: records of events, as a study file tells them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, get_args

EventKind = Literal["opened", "sealed", "warmed", "moved", "lamp changed"]
EVENTS: tuple[str, ...] = get_args(EventKind)


@dataclass(frozen=True)
class Event:
    """Something that happened ``at`` a time (ISO 8601), to these ``samples``, or to all where none is named.

    ``time_s`` is after time zero, None outside a series. ``temperature_c`` is that of the storage from then
    on, ``lamp`` the lamp from then on.
    """

    at: str
    what: EventKind
    samples: tuple[str, ...] = ()
    temperature_c: float | None = None
    lamp: str = ""
    notes: str = ""
    time_s: float | None = None

    def concerns(self, name: str) -> bool:
        """Whether it happened to that sample."""
        return not self.samples or name in self.samples
