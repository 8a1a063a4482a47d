"""Records of the dark ground around the samples, and of what it steadies."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

Three = tuple[float, float, float]


@dataclass(frozen=True)
class GroundSeen:
    """The dark ground of a raw photograph: its own light ``linear_rgb`` in the middle of the frame, of which
    ``room_rgb`` is the room's; and its blue, most of the lamp's violet, in each ``quarter`` of the frame with
    its error ``quarter_sd``, light scattered from samples taken off; None where a quarter shows none.
    """

    linear_rgb: Three
    room_rgb: Three
    quarter: tuple[float | None, ...]
    quarter_sd: tuple[float | None, ...]


@dataclass(frozen=True)
class LampSteadied:
    """What the lamp's brightness was read from: ``by`` is controls or lamp violet, ``names`` the controls;
    ``relative_sd`` is what is left of its error from photograph to photograph.
    """

    by: str
    names: tuple[str, ...] = ()
    relative_sd: float = 0.0


CONTROLS, VIOLET = "controls", "lamp violet"


def steadied_from_json(document: dict[str, Any]) -> dict[str, Any]:
    """How the lamp of a glowkin.track.v1 document was steadied, as a field of a time course."""
    from glowkin.base.records import build

    row = document.get("lamp_steadied")
    return {"lamp_steadied": build(LampSteadied, row) if row else None}
