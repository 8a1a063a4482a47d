"""Records of the lamp as a second clock: what the light itself did to the samples."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from glowkin.base.events import Event

Pair = tuple[float, float]

ELAPSED, LAMP_ON, EITHER = "elapsed time", "lamp-on time", "cannot tell"


@dataclass(frozen=True)
class ClockFound:
    """Which clock a sample's change goes by: ``explains`` is elapsed time, lamp-on time or cannot tell.

    ``model_elapsed`` and ``model_lamp_on`` are the best rate models against either, with their AICc on the
    same weights; None where the photographs are too few. ``told_by``: how the minutes of lamp were known,
    study file or exposure, which is the least they may have been.
    """

    explains: str
    aicc_elapsed: float | None
    aicc_lamp_on: float | None
    model_elapsed: str | None
    model_lamp_on: str | None
    told_by: str


@dataclass(frozen=True)
class Bleaching:
    """How a control faded, its light falling as exp(-rate x time) on this ``clock``.

    ``points`` are pairs of time on that clock and light left, 1 at the first photograph; ``left`` that of the
    curve at the last. ``told_from_lamp``: a reference glow shows that it was not the lamp.
    The samples' light is divided by the control's, as if they bleach as it does.
    """

    control: str
    clock: str
    rate_per_s: float
    rate_interval_per_s: Pair
    left: float
    left_interval: Pair
    points: tuple[Pair, ...]
    told_from_lamp: bool


def told_from_json(document: dict[str, Any]) -> dict[str, Any]:
    """Events and bleaching of a glowkin.track.v1 document, as fields of a time course."""
    from glowkin.base.records import build

    return {
        "events": tuple(build(Event, row) for row in document.get("events", ())),
        "bleaching": tuple(build(Bleaching, row) for row in document.get("bleaching", ())),
    }
