"""A camera from a photograph of a 24-patch chart: the patches' means, and the fit.

A chart is 6 x 4 cells; ``corners`` (4 x 2) are those of the grid in pixels, the first patch's first, then
along the first row, clockwise.
"""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from glowkin.base.errors import CannotMeasureError, WrongUseError
from glowkin.camera.calibrate import Calibrated, ChartSeen, LightsSeen, calibrate
from glowkin.camera.camera_file import UNLIKE, CameraFile, unlikeness
from glowkin.camera.chart_file import iso_17321, read_chart
from glowkin.camera.daylight import chart_light
from glowkin.camera.find_chart import find_corners
from glowkin.light.decode import open_photo
from glowkin.light.linear import reduced
from glowkin.light.region import region_means

if TYPE_CHECKING:
    from glowkin.base.uncertainty import Array
    from glowkin.camera.daylight import ChartLight
    from glowkin.light.photo import Photograph

COLUMNS, ROWS = 6, 4
_MIDDLE = 0.5
"""Part of a cell that is measured."""
_CLIPPED, _DARKEST, _FEWEST = 0.01, 2e-4, 18


def seen_chart(photo: Photograph, corners: Array, reflectance: Array) -> tuple[ChartSeen, list[int]]:
    """The patches that can be used, and the numbers (from 1) of those left out since they are clipped.

    Raises ``CannotMeasureError`` where too few are left, ``WrongUseError`` where the corners are no chart's.
    """
    if photo.kind != "raw":
        raise CannotMeasureError(
            f"{photo.path}: this file was developed by the camera, and a chart calibrates raw values; "
            "photograph the chart as raw (DNG)"
        )
    place = np.array([((c - 2.5) / 5.0, (r - 1.5) / 3.0) for r in range(ROWS) for c in range(COLUMNS)])
    signals = region_means(photo, _outlines(photo, corners))
    told = np.isfinite(signals.mean).all(axis=1)
    clipped = ~told | (signals.clipped > _CLIPPED)
    dark = told & (signals.mean.max(axis=1) < _DARKEST)
    if dark.sum() > ROWS or np.nanmax(signals.mean, initial=0.0) < 0.02:
        raise CannotMeasureError(
            f"{photo.path}: the chart is too dark; give at least four times the exposure"
        )
    used = np.flatnonzero(~clipped & (signals.mean > 0).all(axis=1))
    left_out = [int(i) + 1 for i in np.flatnonzero(clipped)]
    if len(used) < _FEWEST:
        raise CannotMeasureError(
            f"{photo.path}: {len(left_out)} patches of the chart are clipped; halve the exposure"
        )
    return ChartSeen(signals.mean[used], reflectance[used], place[used]), left_out


def fitted(
    photo: Photograph,
    corners: Array,
    reflectance: Array,
    light: ChartLight,
    lights: LightsSeen | None = None,
) -> CameraFile:
    """The camera that photographed this chart, and these known lights."""
    chart, left_out = seen_chart(photo, corners, reflectance)
    found = calibrate(chart, light, lights)
    worst = float(np.sqrt(np.square(found.residuals).mean(axis=1)).max())
    if worst > 0.5:
        raise CannotMeasureError(
            f"{photo.path}: the patches do not fit a chart (one is {100 * worst:.0f} % off); give --corners, "
            "the first patch's (dark skin) corner first, then along its row, clockwise"
        )
    return CameraFile(
        found.sensitivities,
        "chart" if lights is None else "chart-and-lights",
        photo.metadata.make or "",
        photo.metadata.model or "",
        unlike=unlikeness(found.sensitivities.mean) > UNLIKE,
        obtained=_account(photo, corners, found, left_out),
    )


def fit_chart(
    path: Path,
    corners: Array | None = None,
    chart: str | Path | None = None,
    light: str = "daylight",
    lights: LightsSeen | None = None,
) -> CameraFile:
    """The camera that took this raw photograph of a chart."""
    lit_by, reflectance = chart_light(light), iso_17321() if chart is None else read_chart(Path(chart))
    photo = open_photo(path)
    found = _found(photo) if corners is None else np.asarray(corners, dtype=float)
    return fitted(photo, found, reflectance, lit_by, lights)


def _found(photo: Photograph) -> Array:
    corners = find_corners(reduced(photo))
    if corners is None:
        raise CannotMeasureError(
            f"{photo.path}: no chart of 24 patches is found; give --corners X,Y X,Y X,Y X,Y: first the "
            "first patch's "
            "(dark skin) corner first, then along its row, clockwise"
        )
    return corners


def _account(photo: Photograph, corners: Array, found: Calibrated, left_out: list[int]) -> dict[str, object]:
    """How the camera was obtained, for the file and for whoever checks it."""
    kelvin = found.temperature_kelvin
    return {
        "file": photo.path.name,
        "sha256": photo.sha256,
        "corners_px": np.round(corners, 1).tolist(),
        "light_kelvin": None if kelvin is None else round(kelvin),
        "flare": round(found.flare, 4),
        "gradient": [round(g, 4) for g in found.gradient],
        "patches_left_out": left_out,
        "residuals": np.round(found.residuals, 4).tolist(),
        "residual_rms": round(float(np.sqrt(np.square(found.residuals).mean())), 4),
        "distance_from_prior": round(unlikeness(found.sensitivities.mean), 2),
    }


def _outlines(photo: Photograph, corners: Array) -> list[Array]:
    """The middle of each patch as a polygon in pixels, along the rows."""
    import cv2

    _check_corners(photo, corners)
    grid = np.array([(0, 0), (COLUMNS, 0), (COLUMNS, ROWS), (0, ROWS)], dtype=np.float32)
    H = cv2.getPerspectiveTransform(grid, np.asarray(corners, dtype=np.float32))
    half = _MIDDLE / 2
    square = np.array([(-half, -half), (half, -half), (half, half), (-half, half)])
    cells = np.array([square + np.array([c + 0.5, r + 0.5]) for r in range(ROWS) for c in range(COLUMNS)])
    return list(cv2.perspectiveTransform(cells.reshape(1, -1, 2), H)[0].reshape(-1, 4, 2))


def _check_corners(photo: Photograph, corners: Array) -> None:
    width, height = photo.size_px
    edge = np.roll(corners, -1, axis=0) - corners
    turn = edge[:, 0] * np.roll(edge[:, 1], -1) - edge[:, 1] * np.roll(edge[:, 0], -1)
    inside = (corners >= -0.5).all() and (corners <= (width - 0.5, height - 0.5)).all()
    if corners.shape != (4, 2) or not inside:
        raise WrongUseError(f"--corners: give four X,Y within the photograph of {width} x {height} pixels")
    if (turn <= 0).any():
        raise WrongUseError("--corners: give them clockwise, the first patch's (dark skin) corner first")
    if np.hypot(*edge.T).min() < 8 * ROWS:
        raise WrongUseError(
            "--corners: the chart is too small in the photograph; let it fill half of the frame"
        )
