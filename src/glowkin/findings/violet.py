"""The lamp's brightness by its own violet on the dark ground, where no control and no reference tells it.

A lamp that leaks violet lights the ground with it, and a ground that stays as it is sends back the same
share. Four quarters of the frame are read each by itself: where they do not go together, the ground, the
lamp's place or something that glows there has changed, and nothing is said.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from glowkin.findings.frames import ShelvedFrames, exposure

if TYPE_CHECKING:
    from collections.abc import Sequence

    from glowkin.base.uncertainty import Array
    from glowkin.findings.frames import Frame

VIOLET_SD = 0.02
"""How far violet and ultraviolet of one lamp, and two places under it, may go apart (common practice, no
source)."""
_CLEAR, _LEAST_QUARTERS = 0.03, 2
"""Relative error of a quarter's violet at most, and how many quarters must be so clear in all photographs."""
_ROOM = 0.03
"""Share of the ground's blue at most that may be the room's."""
_APART = 0.04
"""Quarters that go apart by more than this, beyond three of their errors, are not one steady ground."""
_COLOUR = 0.05
"""How far red or green of the ground may change beside its blue, as a share of it: room light that raises
them so raises blue by some 2 %."""
_MOST = 0.1


@dataclass(frozen=True, eq=False)
class ByViolet:
    """Levels (n,) of the lamp relative to their median, and their relative error."""

    levels: Array
    sd: float


def by_violet(frames: Sequence[Frame]) -> ByViolet | None:
    """The lamp by its violet; None where the ground does not show it, or not the same in all photographs."""
    seen = [frame.photo.ground for frame in frames]
    if len(frames) < 2 or any(ground is None for ground in seen):
        return None
    known = [ground for ground in seen if ground is not None]
    light = np.array([exposure(frame.photo) for frame in frames])[:, None]
    rgb, room = (np.array([getattr(g, k) for g in known]) / light for k in ("linear_rgb", "room_rgb"))
    q, sd = (np.array([getattr(g, k) for g in known], dtype=float) / light for k in ("quarter", "quarter_sd"))
    with np.errstate(invalid="ignore", divide="ignore"):
        clear = ((q > 0.0) & (sd < _CLEAR * q)).all(axis=0)
        drenched = (room[:, 2] > _ROOM * rgb[:, 2]).any()
    if np.count_nonzero(clear) < _LEAST_QUARTERS or drenched or not _one_colour(rgb):
        return None
    return _together(np.log(q[:, clear]), sd[:, clear] / q[:, clear])


def _one_colour(rgb: Array) -> bool:
    """Whether the ground's light keeps its colour."""
    share = rgb[:, :2] / np.maximum(rgb[:, 2:], 1e-12)
    return bool((np.abs(share - np.median(share, axis=0)) < _COLOUR).all())


def _together(logs: Array, errors: Array) -> ByViolet | None:
    """One course of the quarters (n, k), if they go together."""
    logs = logs - np.median(logs, axis=0)
    level = logs.mean(axis=1)
    apart = np.abs(logs - level[:, None])
    if (apart > np.maximum(_APART, 3.0 * errors)).any():
        return None
    k = logs.shape[1]
    own = np.square(errors).sum(axis=1).mean() / k**2
    between = np.square(logs - level[:, None]).sum() / (k * max(1, (k - 1) * (len(logs) - 1)))
    sd = float(np.sqrt(VIOLET_SD**2 + own + between))
    return ByViolet(np.exp(level), sd) if sd < _MOST else None


def lit_by(frames: Sequence[Frame], levels: Array) -> Sequence[Frame]:
    """The frames with these levels of the lamp."""
    if isinstance(frames, ShelvedFrames):
        return replace(frames, lamps=levels)
    return [replace(frame, lamp=float(lamp)) for frame, lamp in zip(frames, levels, strict=True)]
