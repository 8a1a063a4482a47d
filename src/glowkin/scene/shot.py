"""A photograph as it left the sensor, with its settings and its known answers."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import datetime
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from glowkin.scene.cameras import SceneCamera
    from glowkin.scene.truth import ChartTruth, SampleTruth

NOON = datetime(2026, 5, 4, 12, 0, 0)
"""Cameras write local time, the zone apart or not at all."""


@dataclass(frozen=True)
class Exposure:
    """How the photograph was taken; all of it goes into the file's metadata.

    ``utc_offset`` such as "+02:00", or None as in most cameras; ``position``: latitude and longitude in
    degrees for a GPS block; ``merged``: tagged as phones tag merged frames; ``white_balance_kelvin``: the
    daylight the camera's white balance is set to.
    """

    exposure_s: float = 0.5
    f_number: float = 4.0
    iso: float = 100.0
    taken_at: datetime = NOON
    utc_offset: str | None = None
    automatic_white_balance: bool = False
    merged: bool = False
    white_balance_kelvin: float = 5500.0
    orientation: int = 1
    position: tuple[float, float] | None = None
    serial_number: str | None = None

    @property
    def relative(self) -> float:
        """Light let in: seconds over f-number squared."""
        return self.exposure_s / self.f_number**2


@dataclass(frozen=True)
class Shot:
    """Codes of the mosaic (h x w) and all that is known about them.

    Truths are in pixels of the picture as a viewer shows it, the orientation tag applied.
    """

    codes: NDArray[np.uint16] = field(repr=False)
    camera: SceneCamera
    exposure: Exposure
    truths: tuple[SampleTruth, ...] = ()
    chart: ChartTruth | None = None

    @property
    def size_px(self) -> tuple[int, int]:
        """Width and height as a viewer shows it."""
        h, w = self.codes.shape
        return (h, w) if self.exposure.orientation in (6, 8) else (w, h)


def shown(points: NDArray[np.float64], orientation: int, size_px: tuple[int, int]) -> NDArray[np.float64]:
    """Sensor points (n x 2) as a viewer shows them; orientation 1, 3, 6 or 8 of Exif, sensor size w, h."""
    (w, h), (x, y) = size_px, points.T
    turned = {1: (x, y), 3: (w - 1.0 - x, h - 1.0 - y), 6: (h - 1.0 - y, x), 8: (y, w - 1.0 - x)}
    return np.stack(turned[orientation], axis=1)
