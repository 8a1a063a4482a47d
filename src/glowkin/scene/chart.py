"""A 24-patch chart photographed in daylight, with the faults such photographs have.

Each patch sends out illuminant x (reflectance + flare) x gradient: flare as a share of a perfect white, the
gradient a plane over the chart. The patches deviate smoothly from their table, as printed ones do.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, TypeAlias

import numpy as np

from glowkin.scene.cameras import daylight, patch_reflectances
from glowkin.scene.render import expose, mosaic_of
from glowkin.scene.shot import Exposure, Shot, shown
from glowkin.scene.spectra import WAVELENGTH_NM, unit_power
from glowkin.scene.truth import ChartTruth

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from glowkin.scene.cameras import SceneCamera

    Array: TypeAlias = "NDArray[np.float64]"

COLUMNS, ROWS = 6, 4
PATCH = 0.84
"""Width of a patch in cells."""

FRAME, TABLE = 0.035, 0.16
"""Reflectance of the chart's black frame, and of the grey table around it."""

BORDER = 0.3
"""Width of the frame outside the grid, in cells."""


@dataclass(frozen=True)
class ChartStand:
    """How a chart stands before the camera: size of the frame, corners, light and faults.

    ``corners_px`` of the cell grid, first patch's corner first, then clockwise along the first row; None is
    the middle of the frame, a little turned. ``light``: a spectrum (471) instead of daylight of the given
    colour temperature, ``level`` its power. ``gradient``: change of light from edge to edge along the
    rows and the columns. ``patch_sd``: relative deviation of the patches from their table.
    """

    size_px: tuple[int, int] = (864, 576)
    cct_kelvin: float = 5600.0
    flare: float = 0.01
    gradient: tuple[float, float] = (0.05, -0.03)
    patch_sd: float = 0.01
    corners_px: tuple[tuple[float, float], ...] | None = None
    light: Array | None = None
    level: float = 100.0


def photograph_chart(
    camera: SceneCamera,
    rng: np.random.Generator,
    stand: ChartStand | None = None,
    exposure: Exposure | None = None,
    *,
    brightest: float = 0.75,
) -> Shot:
    """Photograph the chart; the time is set so that a perfect white would fill ``brightest`` of the well."""
    stand, exposure = stand or ChartStand(), exposure or Exposure()
    light = stand.level * unit_power(daylight(stand.cct_kelvin) if stand.light is None else stand.light)
    reflectances = _as_printed(rng, stand.patch_sd)
    corners = np.array(stand.corners_px or _middle(stand.size_px))
    mosaic = _chart_mosaic(stand, corners, light, reflectances, camera)
    exposure = _metered(camera, light, exposure, brightest)
    electrons = mosaic * np.float32(camera.throughput_e * exposure.relative)
    codes = expose(electrons, camera, rng, exposure.iso)
    corners = shown(corners, exposure.orientation, stand.size_px)
    points = tuple((float(x), float(y)) for x, y in corners)
    truth = ChartTruth(points, stand.cct_kelvin, stand.flare, stand.gradient, reflectances, light)
    return Shot(codes, camera, exposure, chart=truth)


def patch_centres(corners_px: tuple[tuple[float, float], ...]) -> Array:
    """Centres of the 24 patches in the photograph (24 x 2), along the rows."""
    import cv2

    cells = np.array([(c + 0.5, r + 0.5) for r in range(ROWS) for c in range(COLUMNS)])
    return np.asarray(cv2.perspectiveTransform(cells[None], _homography(np.array(corners_px)))[0])


def _middle(size_px: tuple[int, int]) -> tuple[tuple[float, float], ...]:
    """A chart filling most of the frame, turned by a degree and seen slightly from below."""
    w, h = size_px
    half = np.array([0.36 * w, 0.24 * w])
    square = np.array([(-1.0, -0.98), (0.985, -1.0), (1.0, 1.0), (-1.0, 0.985)]) * half
    turn = np.deg2rad(1.0)
    R = np.array([[np.cos(turn), -np.sin(turn)], [np.sin(turn), np.cos(turn)]])
    return tuple((float(x), float(y)) for x, y in square @ R.T + np.array([w / 2.0, h / 2.0]))


def _as_printed(rng: np.random.Generator, sd: float) -> Array:
    """The table's reflectances, each times one plus a smooth deviation of this relative size."""
    t = (WAVELENGTH_NM - 560.0) / 160.0
    shapes = np.stack([np.ones_like(t), t, 1.5 * t**2 - 0.5])
    deviation = sd * rng.standard_normal((24, 3)) @ shapes / np.sqrt(3.0)
    return np.asarray(np.clip(patch_reflectances() * (1.0 + deviation), 0.001, 1.0))


def _chart_mosaic(
    stand: ChartStand, corners: Array, light: Array, reflectances: Array, camera: SceneCamera
) -> NDArray[np.float32]:
    """Light on each pixel in its own channel's response, h x w."""
    w, h = stand.size_px
    u, v = _cells(corners, stand.size_px)
    scale = float(np.linalg.norm(corners[1] - corners[0])) / COLUMNS
    column, row = np.clip(np.floor(u), 0, COLUMNS - 1), np.clip(np.floor(v), 0, ROWS - 1)
    patch = (row * COLUMNS + column).astype(np.intp)
    on_patch = _inside(u - column - 0.5, PATCH / 2, scale) * _inside(v - row - 0.5, PATCH / 2, scale)
    on_chart = _inside(u - COLUMNS / 2, COLUMNS / 2 + BORDER, scale)
    on_chart *= _inside(v - ROWS / 2, ROWS / 2 + BORDER, scale)
    colours = camera.response(reflectances * light)
    white = camera.response(light)
    c = mosaic_of(np.arange(3.0), camera.cfa_index, (slice(0, h), slice(0, w))).astype(np.intp)
    patches, whites = colours[patch, c], white[c]
    surface = (TABLE + (FRAME - TABLE) * on_chart) * whites * (1.0 - on_patch) + on_patch * patches
    gx, gy = stand.gradient
    gradient = 1.0 + gx * (u / COLUMNS - 0.5) + gy * (v / ROWS - 0.5)
    return np.asarray((surface + stand.flare * whites) * gradient, dtype=np.float32)


def _inside(distance: Array, half: float, scale: float) -> Array:
    """1 within ``half`` of the middle, 0 beyond, over one pixel; ``scale``: pixels to a cell."""
    return np.asarray(np.clip((half - np.abs(distance)) * scale + 0.5, 0.0, 1.0))


def _cells(corners: Array, size_px: tuple[int, int]) -> tuple[Array, Array]:
    """Each pixel's place on the chart in cells: u along the rows 0-6, v down 0-4."""
    w, h = size_px
    y, x = np.mgrid[:h, :w]
    place = np.linalg.inv(_homography(corners)) @ np.stack([x, y, np.ones_like(x)]).reshape(3, -1)
    return (place[0] / place[2]).reshape(h, w), (place[1] / place[2]).reshape(h, w)


def _homography(corners: Array) -> Array:
    """From cells to pixels."""
    import cv2

    grid = np.array([(0, 0), (COLUMNS, 0), (COLUMNS, ROWS), (0, ROWS)], dtype=np.float32)
    return np.asarray(cv2.getPerspectiveTransform(grid, corners.astype(np.float32)), dtype=float)


def _metered(camera: SceneCamera, light: Array, exposure: Exposure, brightest: float) -> Exposure:
    well = camera.full_well_e * 100.0 / exposure.iso
    seconds = brightest * well * exposure.f_number**2 / (camera.throughput_e * camera.response(light).max())
    return replace(exposure, exposure_s=float(f"{seconds:.3g}"))
