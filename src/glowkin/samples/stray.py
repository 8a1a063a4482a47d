"""Stray light on the samples: its colour from the surroundings, its amount left open.

Dark surroundings tell the colour of what lies on the scene besides the emissions (lamp violet, room
light, veiling glare), not how much of it a sample sends back: powder scatters several times more than
black cloth. So twice the surroundings' level is taken off, and as much again is carried as error along
that colour, each sample's own.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import cv2
import numpy as np

if TYPE_CHECKING:
    from glowkin.base.uncertainty import Array
    from glowkin.light.linear import Frame
    from glowkin.light.region import Signals

_AMOUNT, _AMOUNT_SD = 2.0, 2.0
"""Stray light of a sample in multiples of the dark surroundings' (common practice, no source)."""


@dataclass(frozen=True)
class Stray:
    """Stray light expected on every sample: ``level`` (3,) and its standard deviation ``spread`` (3,)."""

    level: Array
    spread: Array

    @property
    def covariance(self) -> Array:
        """One free amplitude along one colour: rank one, 3 x 3."""
        return np.outer(self.spread, self.spread)


def surroundings(frame: Frame, outlines: list[Array]) -> Stray:
    """Stray light from the darker half of what lies well away from the samples."""
    near = cv2.dilate(frame.mask(outlines), np.ones((31, 31), np.uint8))
    away = frame.linear[near == 0]
    if len(away) < 100:
        away = frame.linear.reshape(-1, 3)
    total = away.sum(axis=1)
    dark = away[total <= np.median(total)].mean(axis=0).astype(float)
    level = np.clip(dark, 0.0, None)
    return Stray(_AMOUNT * level, _AMOUNT_SD * level)


def remove(seen: Signals, stray: Stray) -> Signals:
    """The signals without the stray light expected on them, its error added to each sample's own."""
    return replace(seen, mean=seen.mean - stray.level, covariance=seen.covariance + stray.covariance)
