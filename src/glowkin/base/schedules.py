"""Records of planning: when to photograph, and how much that would tell."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import Any


@dataclass(frozen=True)
class Prospect:
    """What the photographs would tell if the change followed this model.

    ``half_time_error`` is the 95 % half-width of the half-time over the half-time, were the model known;
    ``worst_half_time_error`` the largest of it if the true half-time is half or double the guess; None
    where the photographs would not tell it within a factor of two.
    ``told_apart``: models that would be excluded, at the guess and at half and double of it.
    """

    model: str
    shape: float | None
    half_time_error: float | None
    worst_half_time_error: float | None
    told_apart: tuple[str, ...]
    not_told_apart: tuple[str, ...]


@dataclass(frozen=True)
class Schedule:
    """When to photograph (s after time zero), for a guessed half-time, and what it would tell.

    ``brightness_ratio``, ``channel_noise`` and ``lamp_noise`` (relative, one sd a photograph) are assumed.
    """

    half_time_s: float
    times_s: tuple[float, ...]
    brightness_ratio: float
    channel_noise: float
    lamp_noise: float
    prospects: tuple[Prospect, ...]


def plan_document(schedule: Schedule, program: str) -> dict[str, Any]:
    """The glowkin.plan.v1 document."""
    return {"schema": "glowkin.plan.v1", "program": program, "errors": [], **asdict(schedule)}
