"""Samples clipped all over or nearly: their colour by what they are at least."""

from __future__ import annotations

from dataclasses import dataclass, fields
from typing import TYPE_CHECKING

import numpy as np

from glowkin.camera.emission import Emissions
from glowkin.light.ceiling import Ceiling, at_ceiling, at_least
from glowkin.samples.stray import KINDS

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from glowkin.base.uncertainty import Array
    from glowkin.camera.emission import Camera
    from glowkin.light.masters import Correction
    from glowkin.light.photo import Photograph
    from glowkin.light.region import Signals
    from glowkin.samples.stray import Stray

PARTLY_CLIPPED = 0.01
"""From this share of clipped pixels on, those that are left are no measure of a sample's light."""
MOSTLY_CLIPPED = 0.97
"""From this share of clipped pixels on, those that are left are a sample's rim and its darkest grains."""


@dataclass(frozen=True, eq=False)
class Bounded:
    """``colours`` of n samples, and which ``channels`` (n x 3) of them were taken as bounds."""

    colours: Emissions
    channels: NDArray[np.bool_]


def bounded(
    camera: Camera,
    colours: Emissions,
    photo: Photograph,
    outlines: Sequence[Array],
    emitted: Signals,
    stray: Stray,
    observer: int,
    correction: Correction | None = None,
) -> Bounded:
    """The colours, those of samples mostly clipped read anew from bounds; NaN where all channels are clipped.

    The bounds are those of ``photo``, of a bracket the shortest exposure.
    """
    channels = np.zeros(emitted.mean.shape, dtype=bool)
    lost = ~np.isfinite(emitted.mean).all(axis=1) & (emitted.clipped > 0)
    which = np.flatnonzero(lost | (emitted.clipped > MOSTLY_CLIPPED))
    if not which.size:
        return Bounded(colours, channels)
    seen = at_ceiling(photo, [outlines[int(i)] for i in which], correction)
    free, allowed = stray.of("lamp", "cut")[which], stray.of(*KINDS[2:])[which]
    mean = seen.mean - stray.level[which]
    read = camera.infer_clipped(mean, seen.covariance, seen.clipped, observer, free, allowed)
    told = np.isfinite(read.uv_prime).all(axis=1, keepdims=True)
    channels[which] = seen.clipped & told
    return Bounded(_instead(colours, which, read), channels)


def bounds_of(
    photo: Photograph,
    outlines: Sequence[Array],
    emitted: Signals,
    stray: Stray,
    correction: Correction | None = None,
) -> Ceiling | None:
    """Of the samples (n) of a raw file that are clipped in part or all over, all cells' means, stray light
    off: values, and of channels that clip the least they may be. NaN for the others, None where all are.
    """
    which = np.flatnonzero(emitted.clipped > PARTLY_CLIPPED)
    if not which.size or photo.kind != "raw":
        return None
    seen = at_least(photo, [outlines[int(i)] for i in which], correction)
    n = len(outlines)
    mean, covariance = np.full((n, 3), np.nan), np.full((n, 3, 3), np.nan)
    clipped = np.zeros((n, 3), dtype=bool)
    mean[which], covariance[which] = seen.mean - stray.level[which], seen.covariance
    clipped[which] = seen.clipped
    return Ceiling(mean, covariance, clipped)


def _instead(colours: Emissions, which: NDArray[np.intp], read: Emissions) -> Emissions:
    """The colours with those of ``which`` put in."""
    parts: dict[str, object] = {}
    for field in fields(Emissions):
        old, new = getattr(colours, field.name), getattr(read, field.name)
        if field.name == "shared":
            placed = dict(zip(which.tolist(), new, strict=True))
            parts["shared"] = tuple(placed.get(i, one) for i, one in enumerate(old))
        else:
            parts[field.name] = old.copy()
            parts[field.name][which] = new  # type: ignore[index]
    return Emissions(**parts)  # type: ignore[arg-type]
