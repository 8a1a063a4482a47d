"""A camera from a photograph of a 24-patch chart: the patches' means, and the fit.

A chart is 6 x 4 cells; ``corners`` (4 x 2) are those of the grid in pixels, the first patch's first, then
along the first row, clockwise.
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from glowkin.base.errors import CannotMeasureError, WrongUseError
from glowkin.base.files import named
from glowkin.base.versions import versions
from glowkin.camera.calibrate import UNLIKELY, Calibrated, ChartSeen, LightsSeen, calibrate
from glowkin.camera.camera_file import CameraFile
from glowkin.camera.chart_faults import other_light, stops_over, stops_words
from glowkin.camera.chart_file import iso_17321, read_chart
from glowkin.camera.daylight import chart_light
from glowkin.camera.find_chart import find_corners
from glowkin.light.linear import reduced
from glowkin.light.region import region_means

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

    from glowkin.base.uncertainty import Array
    from glowkin.camera.daylight import ChartLight
    from glowkin.camera.filter import Filter
    from glowkin.light.photo import Photograph

COLUMNS, ROWS = 6, 4
_MIDDLE = 0.5
"""Part of a cell that is measured."""
_CLIPPED, _DARKEST, _FEWEST = 0.01, 2e-4, 18


def seen_chart(photo: Photograph, corners: Array, reflectance: Array) -> tuple[ChartSeen, dict[str, object]]:
    """The patches that can be used, and for the camera file which (numbers from 1) are left out since they
    are clipped, and how many stops less exposure would use them.

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
    if dark.sum() > ROWS or (told.any() and np.nanmax(signals.mean) < 0.02):
        raise CannotMeasureError(
            f"{photo.path}: the chart is too dark; give at least four times the exposure"
        )
    used = np.flatnonzero(~clipped & (signals.mean > 0).all(axis=1))
    left_out = [int(i) + 1 for i in np.flatnonzero(clipped)]
    stops, at_least = stops_over(signals.mean, clipped, reflectance) if left_out else (0.0, False)
    if len(used) < _FEWEST:
        which = "all" if clipped.all() else f"{len(left_out)} of the"
        raise CannotMeasureError(
            f"{photo.path}: {which} {len(clipped)} patches of the chart are clipped; give "
            f"{stops_words(stops, at_least)}"
        )
    numbers = tuple(int(i) + 1 for i in used)
    seen = ChartSeen(signals.mean[used], reflectance[used], place[used], numbers=numbers, to_xyz=photo.to_xyz)
    return seen, {"patches_left_out": left_out, "stops_over": stops}


def fitted(
    photo: Photograph,
    corners: Array,
    reflectance: Array,
    light: ChartLight,
    lights: LightsSeen | None = None,
    behind: Filter | None = None,
    light_given: str = "daylight",
) -> CameraFile:
    """The camera that photographed this chart, and these known lights, behind a filter or none.

    ``light_given`` is what the user said the light is.
    """
    chart, left_out = seen_chart(photo, corners, reflectance)
    if behind is not None and behind.transmittance is not None:
        chart = replace(chart, through=behind.transmittance)
    found = calibrate(chart, light, lights)
    _check_fit(photo, found)
    return CameraFile(
        found.sensitivities,
        "chart" if lights is None else "chart-and-lights",
        photo.metadata.make or "",
        photo.metadata.model or "",
        behind,
        unlike=found.unlikely > UNLIKELY,
        obtained=_account(photo, corners, found)
        | left_out
        | {
            "residuals": _numbered(chart.numbers, found.residuals),
            "to_check": other_light(chart, light_given, light, lights, found),
        }
        | _lights_account(found, lights),
    )


def fit_chart(
    photo: Photograph,
    corners: Array | None = None,
    chart: str | Path | None = None,
    light: str = "daylight",
    lights: LightsSeen | None = None,
    behind: Filter | None = None,
) -> CameraFile:
    """The camera that took this raw photograph of a chart, with all that its file tells of how."""
    lit_by, reflectance = chart_light(light), iso_17321() if chart is None else read_chart(Path(chart))
    found = _found(photo) if corners is None else np.asarray(corners, dtype=float)
    file = fitted(photo, found, reflectance, lit_by, lights, behind, light)
    given = {
        "chart_table": "ISO 17321-1" if chart is None else named(Path(chart)),
        "chart_light": light if lit_by.free else named(Path(light.strip())),
        "corners_given": corners is not None,
        "versions": versions(),
    }
    return replace(file, obtained=file.obtained | given)


def check_pair(chart: Photograph, lights: Photograph) -> None:
    """Raise ``CannotMeasureError`` where known lights are not by the chart's camera, or their raw
    values were treated in another way.
    """
    if lights.kind != "raw":
        raise CannotMeasureError(
            f"{lights.path}: this file was developed by the camera, and known lights calibrate raw values; "
            "photograph them as raw (DNG)"
        )
    for what, mend, a, b in _traits(chart, lights):
        if a != b:
            raise CannotMeasureError(
                f"{lights.path}: {what} is {b}, and that of the chart {chart.path.name} is {a}; {mend}"
            )


def _traits(chart: Photograph, lights: Photograph) -> Iterator[tuple[str, str, object, object]]:
    """What both photographs of a calibration have in common: its name, the mend, and what it is in each."""
    a, b = _treatment(chart), _treatment(lights)
    if a["the camera"] and b["the camera"]:
        yield "the camera", "photograph both with one camera", a["the camera"], b["the camera"]
    mend = "hand over both as the camera wrote them, or both converted by the same program"
    for what in ("the layout", "the black level", "the colour matrix"):
        yield what, mend, a[what], b[what]


def _treatment(photo: Photograph) -> dict[str, object]:
    return {
        "the camera": f"{photo.metadata.make} {photo.metadata.model}".strip(),
        "the layout": "a mosaic" if photo.period > 1 else "three channels a pixel",
        "the black level": "left in" if photo.black.max() > 0 else "taken off",
        "the colour matrix": [np.round(M, 3).tolist() for M in photo.to_xyz],
    }


def _check_fit(photo: Photograph, found: Calibrated) -> None:
    worst = float(np.sqrt(np.square(found.residuals).mean(axis=1)).max())
    if worst > 0.5:
        raise CannotMeasureError(
            f"{photo.path}: the patches do not fit a chart (one is {100 * worst:.0f} % off); give --corners, "
            "the first patch's (dark skin) corner first, then along its row, clockwise"
        )
    if not found.settled:
        raise CannotMeasureError(
            f"{photo.path}: the fit of the camera did not settle, so no answer can be trusted; check "
            "--chart, --chart-light, --filter and the known lights, or photograph the chart anew"
        )


def _found(photo: Photograph) -> Array:
    corners = find_corners(reduced(photo))
    if corners is None:
        raise CannotMeasureError(
            f"{photo.path}: no chart of 24 patches is found; give --corners X,Y X,Y X,Y X,Y: the first "
            "patch's (dark skin) corner first, then along its row, clockwise"
        )
    return corners


def _account(photo: Photograph, corners: Array, found: Calibrated) -> dict[str, object]:
    """How the camera was obtained, for the file and for whoever checks it."""
    kelvin, interval = found.temperature_kelvin, found.temperature_interval_kelvin
    return {
        "file": photo.path.name,
        "sha256": photo.sha256,
        "corners_px": np.round(corners, 1).tolist(),
        "light_kelvin": None if kelvin is None else round(kelvin),
        "light_kelvin_interval": None if interval is None else [round(k) for k in interval],
        "flare": round(found.flare, 4),
        "gradient": [round(g, 4) for g in found.gradient],
        "residual_rms": round(float(np.sqrt(np.square(found.residuals).mean())), 4),
        "distance_from_prior": round(found.unlikely, 2),
        "widened": round(found.stretched, 2),
        "matrices_of_the_file": "used" if found.described else "not used: the chart contradicts them",
    }


def _lights_account(found: Calibrated, lights: LightsSeen | None) -> dict[str, object]:
    if lights is None:
        return {}
    order = range(1, len(lights.rgb) + 1)
    shifts = {str(k): round(float(s), 2) for k, s in zip(order, found.shifts_nm, strict=True)}
    seen = {"residuals": _numbered(order, found.light_residuals), "peak_shifts_nm": shifts}
    return {"lights": {**lights.about, **seen}}


def _numbered(numbers: Iterable[int], rows: Array) -> dict[str, list[float]]:
    return {str(k): np.round(row, 4).tolist() for k, row in zip(numbers, rows, strict=True)}


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
    inside = (corners >= -0.5).all() and (corners <= (width - 0.5, height - 0.5)).all()
    if corners.shape != (4, 2) or not inside:
        raise WrongUseError(f"--corners: give four X,Y within the photograph of {width} x {height} pixels")
    edge = np.roll(corners, -1, axis=0) - corners
    turn = edge[:, 0] * np.roll(edge[:, 1], -1) - edge[:, 1] * np.roll(edge[:, 0], -1)
    if (turn <= 0).any():
        raise WrongUseError("--corners: give them clockwise, the first patch's (dark skin) corner first")
    if np.hypot(*edge.T).min() < 8 * ROWS:
        raise WrongUseError(
            "--corners: the chart is too small in the photograph; let it fill half of the frame"
        )
